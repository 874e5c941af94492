/** Lets one piece of work through at a time; of what comes meanwhile only the newest is done, after it. */
export function newestLast<T>(work: (wanted: T) => Promise<void>): (wanted: T) => Promise<void> {
  let busy: Promise<void> | null = null;
  let next: { wanted: T } | null = null;
  const run = async (): Promise<void> => {
    while (next !== null) {
      const { wanted }: { wanted: T } = next;
      next = null;
      await work(wanted);
    }
    busy = null;
  };
  return (wanted) => {
    next = { wanted };
    busy ??= run();
    return busy;
  };
}
