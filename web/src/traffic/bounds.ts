import type { Ruling, Verdicts } from "../documents.ts";
import { quantity } from "../words.ts";

/** What the plan asks of links and delays: the limit of each link's load by its path, and every verdict in seconds. */
export function bounds(verdicts: Verdicts | null): {
  load: Map<string, { ruling: Ruling; words: string }>;
  delays: { id: string; subject: string; ruling: Ruling; value: string; limit: string }[];
} {
  const load = new Map<string, { ruling: Ruling; words: string }>();
  const delays: { id: string; subject: string; ruling: Ruling; value: string; limit: string }[] = [];
  for (const one of verdicts?.requirements ?? []) {
    for (const verdict of one.verdicts) {
      if (verdict.limit?.unit === "%" && /^(span|bus)\./.test(verdict.subject)) load.set(verdict.subject, { ruling: verdict.ruling, words: quantity(verdict.limit) });
      if (verdict.limit?.unit === "s" && verdict.subject.includes(" to ")) {
        delays.push({ id: one.id, subject: verdict.subject, ruling: verdict.ruling, value: quantity(verdict.value, verdict.limit), limit: quantity(verdict.limit, verdict.value) });
      }
    }
  }
  return { load, delays };
}
