// Prints each module's tokens, its source's beside those of what is served, as TypeScript reads them.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const ts = createRequire(`${process.env.NODE_TOOLS}/`)("typescript");

/** Every token with its kind, its text and its line; neither comments nor blanks. */
function tokensOf(text) {
  const file = ts.createSourceFile("module.js", text, ts.ScriptTarget.ES2022, true, ts.ScriptKind.JS);
  const found = [];
  const walk = (node) => {
    const parts = node.getChildren(file).filter((part) => part.kind !== ts.SyntaxKind.JSDoc);
    if (!parts.length && node.getText(file)) found.push(`${node.kind} ${file.getLineAndCharacterOfPosition(node.getStart(file)).line} ${node.getText(file)}`);
    parts.forEach(walk);
  };
  walk(file);
  return found;
}

const [source, served] = JSON.parse(readFileSync(0, "utf8")).map(tokensOf);
const at = source.findIndex((token, n) => token !== served[n]);
process.stdout.write(JSON.stringify({ n: source.length, wrong: at >= 0 ? [source[at], served[at]] : source.length === served.length ? null : ["", served[source.length]] }));
