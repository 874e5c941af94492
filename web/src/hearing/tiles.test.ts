import { expect, test } from "vitest";
import { Shelf, TILE_PX, coarser, panned, tileLength, tiles, zoomed } from "./tiles.ts";

test("verif_ tiles cover a view without gap or overlap, at no less than their own sharpness", () => {
  for (const view of [{ from_s: 0, to_s: 10 }, { from_s: 3.7, to_s: 5.1 }, { from_s: 100, to_s: 3600 }]) {
    const found = tiles(view, 900, 3600);
    expect(found[0]?.from_s).toBeLessThanOrEqual(view.from_s);
    expect(found.at(-1)?.to_s).toBeGreaterThanOrEqual(view.to_s);
    found.slice(1).forEach((tile, i) => expect(tile.from_s).toBe(found[i]?.to_s));
    const length = tileLength(view, 900);
    const pixels = (length / (view.to_s - view.from_s)) * 900;
    // Never coarser than half of what the screen shows, nor finer than it.
    expect(pixels).toBeGreaterThanOrEqual(TILE_PX * 0.999);
    expect(pixels).toBeLessThan(TILE_PX * 2);
  }
  expect(tiles({ from_s: 0, to_s: 100 }, 900, 10).every(({ from_s }) => from_s < 10)).toBe(true);
});

test("verif_ a coarser tile holds the finer one whole", () => {
  for (const key of ["2/7", "0.5/1000", "64/0"]) {
    const [length = 0, n = 0] = key.split("/").map(Number);
    for (const [l = 0, m = 0] of coarser(key).map((one) => one.split("/").map(Number))) {
      expect(m * l).toBeLessThanOrEqual(n * length);
      expect((m + 1) * l).toBeGreaterThanOrEqual((n + 1) * length);
    }
  }
});

test("verif_ zooming keeps the instant under the pointer where it is, within the recording", () => {
  const view = zoomed({ from_s: 100, to_s: 200 }, 3600, 0.5, 125);
  expect((125 - view.from_s) / (view.to_s - view.from_s)).toBeCloseTo(0.25, 12);
  expect(view.to_s - view.from_s).toBeCloseTo(50, 12);
  expect(zoomed({ from_s: 0, to_s: 100 }, 120, 100, 50)).toEqual({ from_s: 0, to_s: 120 });
  expect(panned({ from_s: 10, to_s: 20 }, 120, -50)).toEqual({ from_s: 0, to_s: 10 });
  expect(panned({ from_s: 10, to_s: 20 }, 120, 500)).toEqual({ from_s: 110, to_s: 120 });
});

test("verif_ the shelf keeps what was looked at last", () => {
  const gone: number[] = [];
  const shelf = new Shelf<number>(2, (one) => gone.push(one));
  shelf.put("a", 1);
  shelf.put("b", 2);
  shelf.get("a");
  shelf.put("c", 3);
  expect([gone, shelf.get("a"), shelf.get("b"), shelf.get("c"), shelf.size]).toEqual([[2], 1, undefined, 3, 2]);
  shelf.clear();
  expect(gone.sort()).toEqual([1, 2, 3]);
});
