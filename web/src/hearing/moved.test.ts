import { expect, test } from "vitest";
import { bars, ends, level, went, type Side } from "./moved.ts";

test("verif_ a level is read with its unit, whatever that is", () => {
  expect(level('"8 dB"')).toEqual({ db: 8, unit: "dB" });
  expect(level("'160 dB re 1 uPa2 s'")).toEqual({ db: 160, unit: "dB re 1 uPa2 s" });
  expect(level('"65.5 dB re 20 uPa"')).toEqual({ db: 65.5, unit: "dB re 20 uPa" });
  expect(level('"-3 dB"')).toEqual({ db: -3, unit: "dB" });
  expect(level('"8 s"')).toBeNull();
});

test("verif_ the slider lies about the planned value, or spans what was tried", () => {
  expect(ends(160, null)).toEqual({ min: 150, max: 180 });
  expect(ends(8, { low: -2, high: 28 })).toEqual({ min: -2, max: 28 });
  // The planned value is reached exactly by its steps.
  const { min } = ends(8.3, { low: -1.9, high: 28 });
  expect((8.3 - min) / 0.5).toBeCloseTo(Math.round((8.3 - min) / 0.5), 9);
  // A key that has to lie above something has no place on the slider where it does not.
  expect(ends(6, null, 0)).toEqual({ min: 0.5, max: 26 });
  expect(ends(6.2, null, 0).min).toBeCloseTo(0.2, 9);
  expect(ends(6, { low: 2, high: 20 }, 0)).toEqual({ min: 2, max: 20 });
  expect(ends(0.3, null, 0).min).toBe(0.3);
  // One that lies beyond what was tried is on the slider all the same.
  expect(ends(30, { low: 0, high: 20 })).toEqual({ min: 0, max: 30 });
});

function side(missed: number | null, margin: number): Side {
  const none = { unknown: "nobody knows" };
  return {
    misses: missed === null ? none : { value: missed, unit: "of 10 labels", share: null, labels: "a.csv", why: null },
    false_alarms: none,
    events: none,
    messages: none,
    cost: none,
    delay: none,
    charge: { value: 2, unit: "h a year", margin: { value: margin, unit: "h a year" }, requirement: "winter", ruling: "met" },
  };
}

test("verif_ nothing is said of what is unknown on either side", () => {
  expect(went("misses", side(1, 0), side(3, 0))).toBe("worse");
  expect(went("misses", side(3, 0), side(1, 0))).toBe("better");
  expect(went("misses", side(3, 0), side(3, 0))).toBe("alike");
  expect(went("misses", side(null, 0), side(3, 0))).toBeNull();
  expect(went("misses", side(3, 0), side(null, 0))).toBeNull();
  // Charge goes by its margin.
  expect(went("charge", side(1, 1), side(1, 4))).toBe("better");
  expect(bars("misses", side(null, 0), side(3, 0))).toEqual({ was: null, is: 1 });
  expect(bars("misses", side(0, 0), side(0, 0))).toEqual({ was: 0, is: 0 });
  expect(bars("false_alarms", side(0, 0), side(0, 0))).toEqual({ was: null, is: null });
});
