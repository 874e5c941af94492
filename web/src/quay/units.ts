import type { Quantity, QuayStep } from "../documents.ts";
import { digits } from "../words.ts";

/** What a meter may show a reading in, and how many of the sheet's units that is; the server reads them all. */
const SHOWN: Record<string, [unit: string, of: number][]> = {
  V: [["V", 1], ["mV", 1e-3]],
  A: [["A", 1], ["mA", 1e-3]],
  ohm: [["ohm", 1], ["mohm", 1e-3], ["kohm", 1e3], ["Mohm", 1e6]],
};

export const unitsOf = (step: QuayStep): string[] => (SHOWN[step.unit] ?? [[step.unit, 1]]).map(([unit]) => unit);

/** The unit in which a box is offered: that in which its band is written short. */
export function offered(step: QuayStep): string {
  const size = Math.abs((step.expected ?? step.high ?? step.low)?.value ?? 0);
  if (step.unit !== "ohm") return step.unit;
  return size >= 1e6 ? "Mohm" : size >= 1e4 ? "kohm" : "ohm";
}

/** A value of the sheet in the unit in which its box is offered. */
export function inUnit(one: Quantity, unit: string): string {
  const of = SHOWN[one.unit]?.find(([shown]) => shown === unit)?.[1];
  return of === undefined ? `${digits(one.value)} ${one.unit}` : `${digits(one.value / of)} ${unit}`;
}

/** What a box must show, in words. */
export function band(step: QuayStep, unit: string): { value: string | null; limits: string } {
  const { expected, low, high } = step;
  const told = (one: Quantity): string => inUnit(one, unit);
  const limits = low !== null && high !== null ? `${told(low)} to ${told(high)}` : low !== null ? `at least ${told(low)}` : high !== null ? `at most ${told(high)}` : "no limit";
  return { value: expected === null ? null : told(expected), limits };
}

/** A fault of a class, as `1a`. */
export const label = (of: number, member: number): string => `${of + 1}${String.fromCharCode(97 + Math.min(25, member))}`;

/** What a further reading would be, each value with those that predict it. */
export function foretold(predicted: readonly (Quantity | null)[], words: (one: Quantity) => string): string {
  const told = new Map<string, string[]>();
  predicted.forEach((one, member) => {
    if (one !== null) told.set(words(one), [...(told.get(words(one)) ?? []), label(0, member)]);
  });
  return [...told].map(([value, by]) => `${value} by ${by.join(", ")}`).join("; ");
}
