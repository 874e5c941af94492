import { expect, test } from "vitest";
import type { Drawing, TraceRecord } from "../documents.ts";
import { faultsOf, instant, places, until, withFault } from "./replay.ts";

const record = (id: number, at_s: number, what: string, more: Record<string, unknown> = {}): TraceRecord => ({ id, at_ns: at_s * 1e9, what, ...more });
const records = [
  record(0, 0, "settled", { voltages_v: { "module.a": 24 } }),
  record(1, 10, "notice", { detector: "detector.d", notice: "confirmed" }),
  record(2, 10.1, "switched", { output: "module.a.output.lamp", to: "on" }),
  record(3, 20, "settled", { voltages_v: { "module.a": 22 } }),
  record(4, 30, "down", { module: "module.b" }),
  record(5, 40, "switched", { output: "module.a.output.lamp", to: "off" }),
];
const sensors = new Map([["detector.d", "module.a.sensor.ear"]]);

test("verif_ an instant holds what came before it and nothing that comes after", () => {
  expect(instant(records, 9, 1, sensors).lit.size).toBe(0);
  const heard = instant(records, 10.05, 1, sensors);
  expect([...heard.lit.keys()].sort()).toEqual(["module.a", "module.a.sensor.ear"]);
  expect(heard.outputs.size).toBe(0);
  const later = instant(records, 25, 1, sensors);
  expect(later.voltages_v.get("module.a")).toBe(22);
  expect([...later.lit.keys()]).toEqual(["module.a.output.lamp"]);
  const end = instant(records, 50, 1, sensors);
  expect(end.lit.size).toBe(0);
  expect(end.down.has("module.b")).toBe(true);
});

test("verif_ halving counts as going through one by one does", () => {
  for (const at of [-1, 0, 5e9, 10e9, 10.1e9, 29e9, 99e9]) expect(until(records, at)).toBe(records.filter(({ at_ns }) => at_ns <= at).length);
});

test("verif_ a fault lights what it befalls", () => {
  expect(places(record(9, 0, "fault-begins", { fault: "fault.cut: span.a-b is cut" }), sensors)).toEqual(["span.a-b"]);
});

test("verif_ a fault put in by a click has an id of its own and keeps the sheet before it", () => {
  const own = { source: null, depends: [] };
  const drawing: Drawing = { water_depth_m: 1, modules: [], sections: [], spans: [], buses: [], anchors: [], floats: [], weights: [], topics: [], ways_unknown: null, supplies: [], uplinks: [{ path: "uplink.shore", module: "module.a", ...own }] };
  const choices = faultsOf(drawing, "module.a");
  expect(choices.map(({ kind }) => kind)).toEqual(["dead", "hang", "restart", "no-uplink"]);
  const cut = faultsOf(drawing, "span.x")[0];
  if (cut === undefined) throw new Error("a span can be cut");
  const once = withFault("format = 1\n", cut, 12.34, null);
  expect(once).toBe('format = 1\n\n[fault.page-1]\nkind = "cut"\nof = "span.x"\nat = "12.3 s"\n');
  const twice = withFault(once, cut, 20, 60);
  expect(twice.startsWith(once)).toBe(true);
  expect(twice).toContain('[fault.page-2]\nkind = "cut"\nof = "span.x"\nat = "20 s"\nuntil = "80 s"\n');
});
