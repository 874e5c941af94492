import { expect, test } from "vitest";
import { change, changeInShort, digits, dayOfYear, quantity, sinceStart, utc } from "./words.ts";

test("verif_ digits suit the size of a number and keep every whole one", () => {
  expect([0, 0.0421, 0.70034, 7.514939, 37.48506, 113.264, 971.44, 5700.595, 12345.6].map((value) => digits(value))).toEqual([
    "0", "0.0421", "0.7", "7.51", "37.49", "113.3", "971.4", "5701", "12 346",
  ]);
  expect(digits(-6.5)).toBe("−6.5");
  expect(digits(1.4377e-6)).toBe("1.44 × 10⁻⁶");
  expect(digits(-0.0004)).toBe("−4.00 × 10⁻⁴");
  expect(digits(NaN)).toBe("not a number");
});

test("verif_ small values lose none of the digits that count", () => {
  expect([0.0014, 0.0016, 0.00149, 0.0999, 0.9996].map((value) => digits(value))).toEqual(["0.0014", "0.0016", "0.00149", "0.0999", "1"]);
  // Against the number itself: never off by more than half of the third digit.
  for (let n = 0; n < 500; n += 1) {
    const value = 1e-3 * 1.0193 ** n;
    if (value >= 1e7) break;
    const shown = Number(digits(value).replaceAll(" ", "").replace("−", "-"));
    expect(Math.abs(shown - value) / value).toBeLessThanOrEqual(0.0051);
  }
});

test("verif_ a value is told apart from its limit", () => {
  expect([digits(1000.4, 1000), digits(1000, 1000.4)]).toEqual(["1000.4", "1000"]);
  expect([digits(11.9996, 12), digits(12, 11.9996)]).toEqual(["11.9996", "12"]);
  expect(digits(5, 5)).toBe("5");
  expect(digits(7.514939, 8)).toBe("7.51");
  expect(quantity({ value: 120.04, unit: "s" }, { value: 120, unit: "s" })).not.toBe(quantity({ value: 120, unit: "s" }, { value: 120.04, unit: "s" }));
  // Other units are not compared.
  expect(quantity({ value: 1000.4, unit: "W" }, { value: 1000, unit: "V" })).toBe("1000 W");
  for (const [value, limit] of [[1000.4, 1000], [0.0014, 0.00141], [1e9 + 1, 1e9], [-3.1, -3.1004], [2e-5, 2.0001e-5]] as const) {
    expect(digits(value, limit)).not.toBe(digits(limit, value));
  }
});

test("verif_ a span of time is told in the unit in which people read it", () => {
  const told = (value: number): string => quantity({ value, unit: "s" });
  expect([0.0000442, 0.004093, 0.70034, 90, 420.7, 94220, 8 * 86400].map(told)).toEqual(["44.2 µs", "4.09 ms", "0.7 s", "90 s", "7.01 min", "26.17 h", "8 d"]);
});

test("verif_ money keeps its cents, and what is not known is no zero", () => {
  expect(quantity({ value: 46.8, unit: "EUR" })).toBe("46.80 EUR");
  expect(quantity({ value: 0.004, unit: "EUR" })).toBe("0.004 EUR");
  expect(quantity({ value: 0, unit: "EUR" })).toBe("0.00 EUR");
  expect(quantity({ value: 10.001, unit: "EUR" }, { value: 10, unit: "EUR" })).toBe("10.001 EUR");
  expect(quantity(null)).toBe("unknown");
  expect(change({ value: 3.2, unit: "EUR" })).toBe("+3.20 EUR");
  expect(change({ value: -3.2, unit: "EUR" })).toBe("−3.20 EUR");
});

test("verif_ one thing is told in the singular, and a unit that is a sentence stands below its heading", () => {
  expect(quantity({ value: 1, unit: "failures that leave it unsafe" })).toBe("1 failure that leaves it unsafe");
  expect(quantity({ value: 1, unit: "steps of the way from flat that are met" })).toBe("1 step of the way from flat that is met");
  expect(quantity({ value: 2, unit: "modules that run" })).toBe("2 modules that run");
  expect(change({ value: -1, unit: "hydrophones lost" })).toBe("−1 hydrophone lost");
  expect(quantity({ value: 1, unit: "s" })).toBe("1 s");
  expect(changeInShort({ value: 3, unit: "steps of the way from flat that are met" })).toBe("+3");
  expect(changeInShort({ value: -1.95, unit: "dB" })).toBe("−1.95 dB");
});

test("verif_ times are told in UTC and since the beginning", () => {
  expect(utc(new Date("2027-04-02T22:30:05Z"))).toBe("2027-04-02 22:30:05 UTC");
  expect([0, 61.25, 59.96, 3723.4].map(sinceStart)).toEqual(["00:00.0", "01:01.3", "01:00.0", "1:02:03.4"]);
  expect([0, 58, 59, 364].map(dayOfYear)).toEqual(["1 Jan", "28 Feb", "1 Mar", "31 Dec"]);
});
