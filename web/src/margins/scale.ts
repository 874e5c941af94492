import type { Quantity, Requirement, Verdict } from "../documents.ts";
import { RULINGS } from "../words.ts";

/** Places on a bar, as shares of its width. */
export interface Bar {
  zero: number;
  value: number;
  limit: number;
  /** Where the requirement holds; null where the numbers do not tell on which side. */
  holds: { from: number; to: number } | null;
  /** Where five to ninety-five percent of the draws lie. */
  spread: { from: number; to: number } | null;
}

/** Of the drawn margins: the levels below which 5 and 95 percent lie. */
export interface Spread {
  low: Quantity;
  high: Quantity;
}

/** Whether the value has to stay below its limit; null where both are the same, so that nothing tells. */
export function stayBelow(value: number, limit: number, margin: number): boolean | null {
  if (value === limit || margin === 0) return null;
  return value < limit === margin > 0;
}

export function bar(verdict: Verdict, spread: Spread | null): Bar | null {
  const value = verdict.value?.value;
  const limit = verdict.limit?.value;
  const margin = verdict.margin?.value;
  if (value === undefined || limit === undefined || margin === undefined || verdict.value?.unit !== verdict.limit?.unit) return null;
  const below = stayBelow(value, limit, margin);
  const drawn = spread === null || below === null ? null : [spread.low.value, spread.high.value].map((one) => (below ? limit - one : limit + one));
  const all = [0, value, limit, ...(drawn ?? [])];
  const low = Math.min(...all);
  const high = Math.max(...all);
  const room = high - low === 0 ? 1 : (high - low) * 0.12;
  const from = low < 0 ? low - room : low;
  const to = high > 0 || high === low ? high + room : high;
  const at = (one: number): number => (one - from) / (to - from);
  const limitAt = at(limit);
  return {
    zero: at(0),
    value: at(value),
    limit: limitAt,
    holds: below === null ? null : below ? { from: 0, to: limitAt } : { from: limitAt, to: 1 },
    spread: drawn === null ? null : { from: at(Math.min(...drawn)), to: at(Math.max(...drawn)) },
  };
}

const rank = (verdict: { ruling: Verdict["ruling"] }): number => RULINGS.indexOf(verdict.ruling);

/** How much of the limit is left, to put verdicts of one ruling in their order; it decides nothing else. */
export function leftShare(verdict: Verdict): number {
  const margin = verdict.margin?.value;
  if (margin === undefined) return Infinity;
  const scale = Math.max(Math.abs(verdict.limit?.value ?? 0), Math.abs(verdict.value?.value ?? 0));
  return scale === 0 ? (margin === 0 ? 1 : margin) : margin / scale;
}

export function worstOf(requirement: Requirement): Verdict | null {
  return [...requirement.verdicts].sort((a, b) => rank(a) - rank(b) || leftShare(a) - leftShare(b))[0] ?? null;
}

/** Worst first: by ruling, then what shall hold before what should, then by what is left. */
export function worstFirst(all: readonly Requirement[]): Requirement[] {
  const left = (one: Requirement): number => {
    const worst = worstOf(one);
    return worst === null ? Infinity : leftShare(worst);
  };
  return [...all].sort(
    (a, b) => rank(a) - rank(b) || Number(a.must === "should") - Number(b.must === "should") || left(a) - left(b) || (a.id < b.id ? -1 : 1),
  );
}
