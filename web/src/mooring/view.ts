import type { Shape } from "../documents.ts";

/** A shape seen from the side: metres across, in the direction in which its top lies from its anchor, and metres of depth. */
export interface Side {
  points: { across_m: number; depth_m: number; tension_n: number }[];
  things: { what: string; across_m: number; depth_m: number; tilt_deg: number }[];
}

export function side(shape: Shape, water_depth_m: number): Side {
  const { east_m, north_m } = shape.top;
  const far = Math.hypot(east_m, north_m);
  const [e, n] = far > 1e-6 ? [east_m / far, north_m / far] : [1, 0];
  const across = (one: { east_m: number; north_m: number }): number => one.east_m * e + one.north_m * n;
  return {
    points: shape.points.map((one) => ({ across_m: across(one), depth_m: water_depth_m - one.up_m, tension_n: one.tension_n })),
    things: shape.things.map((one) => ({ what: one.what, across_m: across(one), depth_m: one.depth_m, tilt_deg: one.tilt_deg })),
  };
}

/** One scale both ways, so that angles are true. */
export function scaleOf(width: number, height: number, across_m: { low: number; high: number }, depth_m: number): { perMetre: number; x0: number } {
  const span = Math.max(1e-6, across_m.high - across_m.low);
  const perMetre = Math.min(width / span, height / Math.max(depth_m, 1e-6));
  return { perMetre, x0: (width - span * perMetre) / 2 - across_m.low * perMetre };
}
