import type { Drawing, Ruling, Verdicts } from "../documents.ts";
import { judged } from "../margins/subjects.ts";
import { RULINGS } from "../words.ts";

/** The worst ruling among the verdicts about a thing itself, by its path. */
export function worstByThing(drawing: Drawing | null, verdicts: Verdicts | null): Map<string, Ruling> {
  const found = new Map<string, Ruling>();
  if (drawing === null || verdicts === null) return found;
  for (const { subject, ruling } of judged(verdicts).flatMap((one) => one.verdicts)) {
    for (const word of subject.split(" ")) {
      // A sensor's or an output's verdict counts for its module.
      const path = word.split(".").slice(0, 2).join(".");
      const before = found.get(path);
      if (before === undefined || RULINGS.indexOf(ruling) < RULINGS.indexOf(before)) found.set(path, ruling);
    }
  }
  return found;
}
