import { expect, test } from "vitest";
import type { Shape } from "../documents.ts";
import { scaleOf, side } from "./view.ts";

const shape: Shape = {
  case: "x", excursion_m: 5, on_the_bed_m: 0,
  greatest: {
    excursion: { excursion_m: 5, surface: "still" }, tension: { force_n: 20, surface: "still" },
    anchor_along: { force_n: 0, surface: "still" }, anchor_up: { force_n: 0, surface: "still" },
  },
  points: [
    { east_m: 0, north_m: 0, up_m: 0, tension_n: 10, from_anchor_m: 0 },
    { east_m: -3, north_m: -4, up_m: 80, tension_n: 20, from_anchor_m: 81 },
  ],
  things: [{ what: "module.a", depth_m: 40, east_m: -1.5, north_m: -2, tilt_deg: 3, tension_above_n: 15, over_waves: null }],
  top: { depth_m: 0, east_m: -3, north_m: -4 },
  anchor_pull: { east_n: 0, north_n: 0, up_n: 0 }, top_pull: { east_n: 0, north_n: 0, up_n: 0 },
};

test("verif_ seen from the side the top lies as far off as it does in truth", () => {
  const seen = side(shape, 80);
  expect(seen.points[1]).toMatchObject({ across_m: 5, depth_m: 0 });
  expect(seen.things[0]?.across_m).toBeCloseTo(2.5, 12);
  expect(side({ ...shape, top: { depth_m: 0, east_m: 0, north_m: 0 } }, 80).points[0]?.across_m).toBe(0);
});

test("verif_ one scale both ways holds all of it", () => {
  const found = scaleOf(400, 300, { low: -5, high: 35 }, 85);
  expect(found.perMetre).toBeCloseTo(300 / 85, 9);
  expect(found.x0 - 5 * found.perMetre).toBeGreaterThanOrEqual(0);
  expect(found.x0 + 35 * found.perMetre).toBeLessThanOrEqual(400);
});
