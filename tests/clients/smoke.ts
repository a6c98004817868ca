// A stranger's program: signs in with a phone's token, lists, creates once, edits by version.
// Types come from the description alone (schema.d.ts is made by the test).
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

declare const process: { env: Record<string, string | undefined> };

type WorkOrder = components["schemas"]["WorkOrderOutput"];

function need<T>(value: T | undefined | null, what: string): T {
  if (value === undefined || value === null) throw new Error(`there is no ${what}`);
  return value;
}

function check(isSo: boolean, what: string): void {
  if (!isSo) throw new Error(`it is not so: ${what}`);
}

const baseUrl = need(process.env["PENROUND_URL"], "PENROUND_URL");
const token = need(process.env["PENROUND_TOKEN"], "PENROUND_TOKEN");
const slug = need(process.env["PENROUND_SITE"], "PENROUND_SITE");
type Json = "application/json" | "application/problem+json"; // lists come as tables too
const headers = { Authorization: `Bearer ${token}` };
const penround = createClient<paths, Json>({ baseUrl, headers });

// Who nobody knows is told so as RFC 9457 has it.
const stranger = createClient<paths, Json>({ baseUrl });
const refused = await stranger.GET("/api/v1/sites/", {});
check(need(refused.error, "refusal").code === "not_authenticated", "a stranger is refused");

// Every page of a list, by its cursor.
const seen: WorkOrder[] = [];
let cursor: string | undefined;
do {
  const query = cursor === undefined ? { page_size: 7 } : { page_size: 7, cursor };
  const page = await penround.GET("/api/v1/sites/{slug}/work-orders/", {
    params: { path: { slug }, query },
  });
  const body = need(page.data, "page");
  seen.push(...body.results);
  cursor = body.next ? (new URL(body.next).searchParams.get("cursor") ?? undefined) : undefined;
} while (cursor !== undefined);

// Said twice with one key, it is done once.
const report = (text: string) =>
  penround.POST("/api/v1/sites/{slug}/problems/", {
    params: { path: { slug }, header: { "Idempotency-Key": "smoke-1" } },
    body: { text },
  });
const first = need((await report("gate bent")).data, "problem");
const again = need((await report("gate bent")).data, "problem");
check(first.id === again.id, "a repeat gets the first answer");
check((await report("gate broken")).error?.status === 422, "a key is for one body");

// An edit rests on the version that was read.
const orders = await penround.GET("/api/v1/sites/{slug}/standing-orders/", {
  params: { path: { slug } },
});
const id = need(orders.data?.results[0], "standing order").id;
const address = "/api/v1/sites/{slug}/standing-orders/{id}/";
const read = await penround.GET(address, { params: { path: { slug, id } } });
const etag = need(read.response.headers.get("ETag"), "ETag");
const known = await penround.GET(address, {
  params: { path: { slug, id }, header: { "If-None-Match": etag } },
});
check(known.response.status === 304, "what is known is not sent again");
const edit = (version: string) =>
  penround.PATCH(address, {
    params: { path: { slug, id }, header: { "If-Match": version } },
    body: { priority: 2 },
  });
check((await edit(etag)).response.status === 200, "an edit of what stands is taken");
check((await edit(etag)).error?.code === "stale", "an edit of what is gone is refused");

console.log(JSON.stringify({ seen: seen.map((order) => order.id), problem: first.id }));
