import { expect, test } from "vitest";
import type { QuayStep } from "../documents.ts";
import { band, foretold, inUnit, label, offered, unitsOf } from "./units.ts";

const step = (unit: string, expected: number | null, low: number | null, high: number | null): QuayStep => {
  const of = (value: number | null) => (value === null ? null : { value, unit });
  return { step: "a.b", stage: 1, subject: "span.a", what: "", expected: of(expected), low: of(low), high: of(high), unknown: null, unit, why: "", found: "not-taken", reading: null, beyond_range: false };
};

test("verif_ a band is told in the unit of its box, and a box of a large resistance is offered in megohms", () => {
  const insulation = step("ohm", null, 1e8, null);
  expect(offered(insulation)).toBe("Mohm");
  expect(unitsOf(insulation)).toContain("Mohm");
  expect(band(insulation, "Mohm")).toEqual({ value: null, limits: "at least 100 Mohm" });
  const loop = step("ohm", 4.8, 4.6, 5);
  expect(offered(loop)).toBe("ohm");
  expect(band(loop, offered(loop))).toEqual({ value: "4.8 ohm", limits: "4.6 ohm to 5 ohm" });
  expect(band(step("s", null, null, 3), "s").limits).toBe("at most 3 s");
  expect(band(step("V", null, null, null), "V").limits).toBe("no limit");
  // In a unit that is not known here it is told as it is.
  expect(inUnit({ value: 3, unit: "GB" }, "kB")).toBe("3 GB");
});

test("verif_ faults that predict one value are told together, and one that predicts none is left out", () => {
  const volts = (value: number) => ({ value, unit: "V" });
  expect(foretold([volts(23), null, volts(22), volts(23)], (one) => `${one.value} V`)).toBe("23 V by 1a, 1d; 22 V by 1c");
  expect(label(1, 2)).toBe("2c");
});
