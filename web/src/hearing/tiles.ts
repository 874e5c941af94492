// A spectrogram is put together from tiles of whole powers of two of a second, so that panning and zooming ask for the same
// few pictures again and again.

export const TILE_PX = 512;

export interface View {
  from_s: number;
  to_s: number;
}

export interface Tile {
  from_s: number;
  to_s: number;
  key: string;
}

/** Length of the tiles for a view: the power of two at which a tile is drawn at its own size or a little smaller. */
export function tileLength(view: View, width_px: number): number {
  const perPixel = (view.to_s - view.from_s) / Math.max(1, width_px);
  return 2 ** Math.ceil(Math.log2(perPixel * TILE_PX));
}

export function tiles(view: View, width_px: number, whole_s: number): Tile[] {
  const length = tileLength(view, width_px);
  const found: Tile[] = [];
  for (let n = Math.max(0, Math.floor(view.from_s / length)); n * length < Math.min(view.to_s, whole_s); n += 1) {
    const from_s = n * length;
    // The last one ends with the recording.
    found.push({ from_s, to_s: Math.min(whole_s, from_s + length), key: `${length}/${n}` });
  }
  return found;
}

/** Keys of the tiles of greater length that hold a tile, the next coarser first. */
export function coarser(key: string): string[] {
  const [length = 0, n = 0] = key.split("/").map(Number);
  return Array.from({ length: 8 }, (_, i) => `${length * 2 ** (i + 1)}/${Math.floor(n / 2 ** (i + 1))}`);
}

/** A view moved and stretched about an instant, kept within the recording. */
export function zoomed(view: View, whole_s: number, factor: number, about_s: number): View {
  const length = Math.min(whole_s, Math.max(0.25, (view.to_s - view.from_s) * factor));
  const share = (about_s - view.from_s) / (view.to_s - view.from_s);
  return kept({ from_s: about_s - share * length, to_s: about_s + (1 - share) * length }, whole_s);
}

export function panned(view: View, whole_s: number, by_s: number): View {
  return kept({ from_s: view.from_s + by_s, to_s: view.to_s + by_s }, whole_s);
}

function kept(view: View, whole_s: number): View {
  const length = Math.min(whole_s, view.to_s - view.from_s);
  const from_s = Math.max(0, Math.min(whole_s - length, view.from_s));
  return { from_s, to_s: from_s + length };
}

/** The newest pictures, at most so many; the one that was not looked at for longest goes first. */
export class Shelf<T> {
  readonly #most: number;
  readonly #let_go: (one: T) => void;
  readonly #of = new Map<string, T>();

  constructor(most: number, let_go: (one: T) => void) {
    this.#most = most;
    this.#let_go = let_go;
  }

  get size(): number {
    return this.#of.size;
  }

  get(key: string): T | undefined {
    const one = this.#of.get(key);
    if (one !== undefined) {
      this.#of.delete(key);
      this.#of.set(key, one);
    }
    return one;
  }

  put(key: string, one: T): void {
    this.#of.set(key, one);
    while (this.#of.size > this.#most) {
      const oldest = this.#of.entries().next().value;
      if (oldest === undefined) return;
      this.#of.delete(oldest[0]);
      this.#let_go(oldest[1]);
    }
  }

  clear(): void {
    for (const one of this.#of.values()) this.#let_go(one);
    this.#of.clear();
  }
}
