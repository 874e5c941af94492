// What the server says of a threshold that is moved, and how it is laid out.

import type { Quantity } from "../documents.ts";

export interface Unknown {
  unknown: string;
}

export interface Counted extends Quantity {
  low?: number;
  high?: number;
  why?: string | null;
}

type Told<T> = T | Unknown;

export interface Side {
  misses: Told<Quantity & { share: Counted | null; labels: string; why: string | null }>;
  false_alarms: Told<Counted & { limits_from: string }>;
  events: Told<Counted>;
  messages: Told<Quantity & { at_high: number | null; held: boolean }> & { at_most?: number | null };
  cost: Told<Quantity & { at_high: number | null; held: boolean }> & { at_most?: number | null };
  delay: Told<Quantity & { share: Quantity }>;
  charge: Told<Quantity & { margin: Quantity; requirement: string; ruling: string }>;
}

export interface Moved {
  detector: string;
  unit: string;
  over: string | null;
  planned_db: number;
  /** No threshold of this detector may lie there or below; null where nothing says so. */
  lies_above_db: number | null;
  on_above_db: number;
  sets: { path: string; from: string; to: string }[];
  real_per_d: Told<Quantity>;
  tried_db: { low: number; high: number } | null;
  records: number;
  before: Side;
  after: Side;
  text: string;
  expects: string | null;
  text_with_expects: string | null;
}

export const isUnknown = (told: object): told is Unknown => "unknown" in told;

/** A level as the plan writes it: `"138 dB re 1 uPa"` is 138 and `dB re 1 uPa`. */
export function level(raw: string): { db: number; unit: string } | null {
  const found = /^["']?\s*([+-]?\d+(?:\.\d+)?)\s*(dB[^"']*?)\s*["']?$/.exec(raw.trim());
  return found === null ? null : { db: Number(found[1]), unit: found[2] ?? "dB" };
}

export const STEP_DB = 0.5;
const BELOW_DB = 10;
const ABOVE_DB = 20;

/**
 * The ends of the slider: what was tried, else some decibels about the planned value, which is always a whole number of steps away. None of
 * its values lies at or below `above`.
 */
export function ends(planned: number, tried: { low: number; high: number } | null, above: number | null = null): { min: number; max: number } {
  const steps = (db: number): number => Math.ceil(Math.max(db, 0) / STEP_DB - 1e-9) * STEP_DB;
  const down = steps(planned - (tried?.low ?? planned - BELOW_DB));
  const room = above === null ? Infinity : Math.max(0, Math.ceil((planned - above) / STEP_DB - 1e-9) - 1) * STEP_DB;
  return {
    min: planned - Math.min(down, room),
    max: planned + steps((tried?.high ?? planned + ABOVE_DB) - planned),
  };
}

/** Which way a row went; null where a side is unknown, so that nothing can be said. */
export function went(row: keyof Side, before: Side, after: Side): "better" | "worse" | "alike" | null {
  const [was, is] = [before[row], after[row]];
  if (isUnknown(was) || isUnknown(is)) return null;
  // Of charge more is good, of hours off less: its margin tells both.
  const size = (one: object): number => ("margin" in one ? -(one as { margin: Quantity }).margin.value : (one as Quantity).value);
  const gap = size(is) - size(was);
  if (Math.abs(gap) < 1e-9) return "alike";
  return gap < 0 ? "better" : "worse";
}

/** The lengths of a row's two bars, of one scale; null where there is nothing to draw. */
export function bars(row: keyof Side, before: Side, after: Side): { was: number | null; is: number | null } {
  const value = (side: Side): number | null => {
    const told = side[row];
    return isUnknown(told) ? null : Math.abs(told.value);
  };
  const [was, is] = [value(before), value(after)];
  const most = Math.max(was ?? 0, is ?? 0);
  const share = (one: number | null): number | null => (one === null ? null : most === 0 ? 0 : one / most);
  return { was: share(was), is: share(is) };
}
