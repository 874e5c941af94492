import type { Paths } from "../documents.ts";

/** A piece of the strip of a hydrophone: from halfway to the range before to halfway to the next. */
export interface Piece {
  from_m: number;
  to_m: number;
  /** Null where the loss is not known. */
  loss_db: number | null;
}

export function strip(hydrophone: Paths["hydrophones"][number]): Piece[] {
  const at = hydrophone.by_range;
  return at.map((one, i) => {
    const before = at[i - 1]?.range_m ?? 0;
    const after = at[i + 1]?.range_m ?? one.range_m;
    return { from_m: i === 0 ? 0 : (before + one.range_m) / 2, to_m: (one.range_m + after) / 2, loss_db: one.power_loss_db };
  });
}

const LEAST_DB = 30;
const MOST_DB = 100;

/** Zero for little lost, one for all; null where it is not known. */
export function lossShare(loss_db: number | null): number | null {
  return loss_db === null ? null : Math.max(0, Math.min(1, (loss_db - LEAST_DB) / (MOST_DB - LEAST_DB)));
}
