// The unsaved text of a plan, kept in this browser until it is saved.

interface Kept {
  text: string;
  at: string;
}

const key = (file: string): string => `soundline.unsaved.${file}`;

/** False where the browser's storage is full or forbidden. */
export function keep(file: string, text: string, now: Date = new Date()): boolean {
  try {
    localStorage.setItem(key(file), JSON.stringify({ text, at: now.toISOString() } satisfies Kept));
    return true;
  } catch {
    return false;
  }
}

export function kept(file: string): Kept | null {
  try {
    const found = localStorage.getItem(key(file));
    if (found === null) return null;
    const value = JSON.parse(found) as Partial<Kept>;
    return typeof value.text === "string" && typeof value.at === "string" ? { text: value.text, at: value.at } : null;
  } catch {
    return null;
  }
}

export function forget(file: string): void {
  try {
    localStorage.removeItem(key(file));
  } catch {
    // What cannot be reached holds no text of ours.
  }
}
