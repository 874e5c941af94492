import type { Written } from "../plan/scan.ts";

const UNITS: Record<string, number> = { Hz: 1, kHz: 1000, MHz: 1e6 };

function hertz(raw: string): number | null {
  const found = /^"\s*([\d.]+(?:e[+-]?\d+)?)\s*(k|M)?Hz/i.exec(raw);
  const unit = found === null ? undefined : UNITS[`${found[2] ?? ""}Hz`];
  return found === null || unit === undefined ? null : Number(found[1]) * unit;
}

/** The band of each detector as the plan's text writes it, to draw its events where it listens. */
export function bandsOf(written: readonly Written[]): Map<string, { low_hz: number; high_hz: number }> {
  const found = new Map<string, { low_hz: number; high_hz: number }>();
  for (const { path, raw } of written) {
    if (path[0] !== "detector" || path.at(-1) !== "band") continue;
    const [low, high] = raw.replace(/^\[|\]$/g, "").split(",").map((piece) => hertz(piece.trim()));
    if (low != null && high != null) found.set(`detector.${path[1]}`, { low_hz: low, high_hz: high });
  }
  return found;
}
