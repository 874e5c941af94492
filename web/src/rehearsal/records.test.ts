import { expect, test } from "vitest";
import type { TraceRecord } from "../documents.ts";
import { allOf, type Page } from "./records.ts";

/** A server with so many records of one instant, so many at once. */
function server(count: number, limit: number): (after: number | null) => Promise<Page> {
  const all = Array.from({ length: count }, (_, id): TraceRecord => ({ id: 3 * id, at_ns: 9e9, what: "hears" }));
  return async (after) => {
    const rest = all.filter(({ id }) => after === null || id > after);
    return { records: rest.slice(0, limit), more: rest.length > limit };
  };
}

test("verif_ more records of one instant than come at once are all had, each once", async () => {
  const { records, more } = await allOf(server(12_001, 5000), 60_000);
  expect(records.map(({ id }) => id)).toEqual(Array.from({ length: 12_001 }, (_, id) => 3 * id));
  expect(more).toBe(false);
});

test("verif_ beyond the most it is told that there are more", async () => {
  const { records, more } = await allOf(server(9000, 1000), 3000);
  expect([records.length, more]).toEqual([3000, true]);
  expect(await allOf(server(0, 10), 10)).toEqual({ records: [], more: false });
});
