// Plays histories one after another: asks the server by lines on standard output, hears by standard input.

import { createInterface } from "node:readline";
import { Violation } from "./faults.mjs";
import { History } from "./history.mjs";

const given = JSON.parse(process.argv[2]);
const lines = createInterface({ input: process.stdin })[Symbol.asyncIterator]();
const write = (line) => process.stdout.write(`${JSON.stringify(line)}\n`);

async function server(op) {
  write(op);
  const { value } = await lines.next();
  return JSON.parse(value);
}

for (const seed of given.seeds) {
  const history = new History({ seed, n_phones: given.n_phones, server, sabotage: given.sabotage });
  let found;
  try {
    found = { ...(await history.play()), fault: null };
  } catch (error) {
    const fault = error instanceof Violation ? error.message : `${error.stack}`;
    found = { hash: null, n_steps: history.trace.length, counts: history.counts, fault, trace: given.trace ? history.trace : history.trace.slice(-12) };
  }
  if (given.trace) found.trace = history.trace;
  write({ op: "found", seed, ...found });
}
write({ op: "over" });
process.exit(0);
