// Unsaved texts of a plan and of its cue sheets, kept in this browser until they are saved.

export interface Kept {
  text: string;
  at: string;
  /** Digest of the file's text from which it was written. */
  base: string;
}

const key = (identity: string): string => `soundline.unsaved.${identity}`;

/** Keeps the text under the identity of its plan: many plans have one name, and share this browser. False where the storage is full or forbidden. */
export function keep(identity: string, text: string, base: string, now: Date = new Date()): boolean {
  try {
    localStorage.setItem(key(identity), JSON.stringify({ text, at: now.toISOString(), base } satisfies Kept));
    return true;
  } catch {
    return false;
  }
}

export function kept(identity: string): Kept | null {
  try {
    const found = localStorage.getItem(key(identity));
    if (found === null) return null;
    const { text, at, base } = JSON.parse(found) as Partial<Kept>;
    return typeof text === "string" && typeof at === "string" && typeof base === "string" ? { text, at, base } : null;
  } catch {
    return null;
  }
}

/** What a plan's cue sheet is kept under, beside the plan's own text. */
export const sheetOf = (identity: string, name: string): string => `${identity}/${name}`;

/** Names of the cue sheets of a plan of which an unsaved text is kept. */
export function sheetsKept(identity: string): string[] {
  const before = key(sheetOf(identity, ""));
  const found: string[] = [];
  try {
    for (let i = 0; i < localStorage.length; i += 1) {
      const one = localStorage.key(i);
      if (one?.startsWith(before)) found.push(one.slice(before.length));
    }
  } catch {
    // What cannot be reached holds no text of ours.
  }
  return found.sort();
}

export function forget(identity: string): void {
  try {
    localStorage.removeItem(key(identity));
  } catch {
    // What cannot be reached holds no text of ours.
  }
}
