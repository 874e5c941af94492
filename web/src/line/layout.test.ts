import { expect, test } from "vitest";
import type { Drawing, DrawnModule } from "../documents.ts";
import { lay, niceStep, spread } from "./layout.ts";

function module(name: string, depth_m: number, section: string | null = "section.riser"): DrawnModule {
  return {
    path: `module.${name}`, name, part: null, depth_m, from_top_m: section === null ? null : depth_m, section, written: { by: section === null ? "depth" : "from_top", length_m: depth_m }, surface: depth_m === 0, rated_depth_m: null,
    states: [], voltage: { unknown: "" }, sensors: [], outputs: [], source: null, depends: [],
  };
}
const own = { source: null, depends: [] };
const drawing: Drawing = {
  water_depth_m: 85,
  modules: [module("buoy", 0, null), module("marker", 6), module("upper", 22), module("lower", 58)],
  sections: [{ path: "section.riser", from: "module.buoy", to: "anchor.sinker", length_m: 92, ...own }],
  spans: [], buses: [], supplies: [], floats: [], weights: [], uplinks: [], topics: [], ways_unknown: null,
  anchors: [{ path: "anchor.sinker", depth_m: 85, ...own }],
};

test("verif_ depth is to one scale: equal depths apart are equal lengths of the page", () => {
  const found = lay(drawing, 560, 460);
  const y = (path: string): number => found.modules.find((one) => one.path === path)?.y ?? NaN;
  expect((y("module.upper") - y("module.buoy")) / 22).toBeCloseTo((y("module.lower") - y("module.buoy")) / 58, 9);
  expect(y("module.buoy")).toBe(found.surfaceY);
  expect(found.anchors[0]?.y).toBeCloseTo(found.bedY, 9);
  for (const tick of found.ticks) expect(tick.y).toBeCloseTo(found.surfaceY + tick.depth_m * found.perMetre, 9);
  expect(new Set(found.modules.map(({ x }) => x)).size).toBe(1);
  expect(found.sections[0]).toMatchObject({ y1: y("module.buoy"), y2: found.anchors[0]?.y });
});

test("verif_ lines beside each other get columns of their own", () => {
  const two: Drawing = {
    ...drawing,
    modules: [...drawing.modules, module("far", 30, "section.other"), module("raft", 0, null)],
    sections: [...drawing.sections, { path: "section.other", from: "module.raft", to: "anchor.other", length_m: 90, ...own }],
    anchors: [...drawing.anchors, { path: "anchor.other", depth_m: 85, ...own }],
  };
  const x = new Map(lay(two, 900, 460).modules.map((one) => [one.path, one.x]));
  expect(x.get("module.far")).toBe(x.get("module.raft"));
  expect(x.get("module.far")).not.toBe(x.get("module.upper"));
});

test("verif_ a line under a float hangs from the depth of the float, and of a depth that is not known no bed, no anchor and no scale is drawn", () => {
  const taut: Drawing = {
    ...drawing,
    water_depth_m: 31,
    modules: [module("ears", 22, "section.taut")],
    floats: [{ path: "float.top", depth_m: 17, position: null, ...own }],
    sections: [{ path: "section.taut", from: "float.top", to: "anchor.clump", length_m: 14, ...own }],
    anchors: [{ path: "anchor.clump", depth_m: 31, ...own }],
  };
  const found = lay(taut, 560, 460);
  const float = found.hung.find(({ path }) => path === "float.top");
  expect(float?.y).toBeCloseTo(found.surfaceY + 17 * found.perMetre, 9);
  expect(float?.x).toBe(found.modules[0]?.x);
  expect(found.sections[0]).toMatchObject({ y1: float?.y, y2: found.anchors[0]?.y });
  const nowhere = lay({ ...taut, water_depth_m: null, anchors: [{ path: "anchor.clump", depth_m: null, ...own }] }, 560, 460);
  expect(nowhere.bedKnown).toBe(false);
  expect(nowhere.anchors).toEqual([]);
  expect(nowhere.ticks).toEqual([]);
});

test("verif_ labels stay apart, in order, within bounds, and unmoved where they do not touch", () => {
  expect(spread([10, 100, 200], 20, 0, 300)).toEqual([10, 100, 200]);
  const packed = spread([50, 52, 51, 200, 203], 20, 0, 300);
  expect(packed.map((_, i) => i).sort((a, b) => (packed[a] ?? 0) - (packed[b] ?? 0))).toEqual([0, 2, 1, 3, 4]);
  const sorted = [...packed].sort((a, b) => a - b);
  sorted.slice(1).forEach((y, i) => expect(y - (sorted[i] ?? 0)).toBeGreaterThanOrEqual(20 - 1e-9));
  const crowded = spread(Array.from({ length: 50 }, () => 5), 20, 0, 300);
  expect(Math.min(...crowded)).toBeGreaterThanOrEqual(0);
  expect(Math.max(...crowded)).toBeLessThanOrEqual(300 + 1e-9);
});

test("verif_ steps of the ruler are one, two or five tens", () => {
  expect([niceStep(85, 8), niceStep(2000, 8), niceStep(12, 5), niceStep(0.9, 3)]).toEqual([20, 500, 5, 0.5]);
});
