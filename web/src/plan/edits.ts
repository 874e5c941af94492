// Edits that the server makes in the text, while the text itself may go on changing.

export interface Text {
  now(): string;
  put(next: string): void;
}

type Ask = (text: string, path: string, value: string) => Promise<{ text: string }>;

const MOST_TRIES = 20;

/**
 * Sets one key after the other. An answer is put in only where the text is still the one that it was made from; else the
 * server is asked again with the newer text, so that nothing typed meanwhile is lost.
 */
export function edits(text: Text, ask: Ask): (path: string, value: string) => Promise<void> {
  let last: Promise<unknown> = Promise.resolve();
  const set = async (path: string, value: string): Promise<void> => {
    for (let tries = 0; tries < MOST_TRIES; tries += 1) {
      const of = text.now();
      const { text: next } = await ask(of, path, value);
      if (text.now() !== of) continue;
      text.put(next);
      return;
    }
    throw new Error(`${path} was not written, because the text changed all the while; set it again`);
  };
  return (path, value) => {
    // What failed before does not keep this one back.
    const mine = last.then(() => set(path, value));
    last = mine.catch(() => undefined);
    return mine;
  };
}
