import { expect, test } from "vitest";
import { change, digits, dayOfYear, quantity, sinceStart, utc } from "./words.ts";

test("verif_ digits suit the size of a number and keep every whole one", () => {
  expect([0, 0.0421, 0.70034, 7.514939, 37.48506, 113.264, 971.44, 5700.595, 12345.6].map(digits)).toEqual([
    "0", "0.042", "0.7", "7.51", "37.49", "113.3", "971.4", "5701", "12 346",
  ]);
  expect(digits(-6.5)).toBe("−6.5");
  expect(digits(1.4377e-6)).toBe("1.44 × 10⁻⁶");
  expect(digits(-0.0004)).toBe("−4.00 × 10⁻⁴");
  expect(digits(NaN)).toBe("not a number");
});

test("verif_ a span of time is told in the unit in which people read it", () => {
  const told = (value: number): string => quantity({ value, unit: "s" });
  expect([0.0000442, 0.004093, 0.70034, 90, 420.7, 94220, 8 * 86400].map(told)).toEqual(["44.2 µs", "4.09 ms", "0.7 s", "90 s", "7.01 min", "26.17 h", "8 d"]);
});

test("verif_ money keeps its cents, and what is not known is no zero", () => {
  expect(quantity({ value: 46.8, unit: "EUR" })).toBe("46.80 EUR");
  expect(quantity(null)).toBe("unknown");
  expect(change({ value: 3.2, unit: "EUR" })).toBe("+3.20 EUR");
  expect(change({ value: -3.2, unit: "EUR" })).toBe("−3.20 EUR");
});

test("verif_ times are told in UTC and since the beginning", () => {
  expect(utc(new Date("2027-04-02T22:30:05Z"))).toBe("2027-04-02 22:30:05 UTC");
  expect([0, 61.25, 59.96, 3723.4].map(sinceStart)).toEqual(["00:00.0", "01:01.3", "01:00.0", "1:02:03.4"]);
  expect([0, 58, 59, 364].map(dayOfYear)).toEqual(["1 Jan", "28 Feb", "1 Mar", "31 Dec"]);
});
