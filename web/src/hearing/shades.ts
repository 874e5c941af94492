// Colours of a picture of loss: from lamp-yellow (little is lost) over green water to the dark of the deep.

const STOPS: readonly [number, number, number][] = [
  [250, 226, 150],
  [226, 168, 84],
  [98, 148, 142],
  [32, 92, 112],
  [10, 38, 58],
  [4, 16, 28],
];

/** Red, green and blue for a share from zero to one. */
export function shade(share: number): [number, number, number] {
  const at = Math.max(0, Math.min(1, share)) * (STOPS.length - 1);
  const i = Math.min(STOPS.length - 2, Math.floor(at));
  const low = STOPS[i] ?? [0, 0, 0];
  const high = STOPS[i + 1] ?? low;
  return [0, 1, 2].map((c) => Math.round((low[c] ?? 0) + ((high[c] ?? 0) - (low[c] ?? 0)) * (at - i))) as [number, number, number];
}

export const LEAST_DB = 30;
export const MOST_DB = 110;

/** Zero for little lost, one for all. */
export function lossShare(loss_db: number): number {
  return Math.max(0, Math.min(1, (loss_db - LEAST_DB) / (MOST_DB - LEAST_DB)));
}
