/** One question at a time: the next one stops the one that is still open. */
export interface Unfinished {
  next(): AbortSignal;
  stop(): void;
}

export function unfinished(): Unfinished {
  let last: AbortController | null = null;
  const stop = (): void => last?.abort();
  return {
    next() {
      stop();
      last = new AbortController();
      return last.signal;
    },
    stop,
  };
}
