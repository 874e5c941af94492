import { afterEach, beforeEach, expect, test, vi } from "vitest";
import type { Told } from "./events.ts";
import { followed, type Now, type Progress } from "./jobs.ts";

beforeEach(() => void vi.useFakeTimers());
afterEach(() => vi.useRealTimers());

/** A stream and a job whose state the test sets. */
function bench(): { tell: (name: string, data?: object) => void; now: { of: Now<string> | Error }; seen: Progress[]; looks: () => number; listeners: () => number; stopped: () => boolean; stop: AbortController; end: Promise<Now<string>> } {
  const heard = new Set<(told: Told) => void>();
  const now: { of: Now<string> | Error } = { of: { state: "progress", result: "", progress: { share: 0.1, words: "begins" } } };
  const seen: Progress[] = [];
  let looks = 0;
  let stopped = false;
  const stop = new AbortController();
  const job = {
    id: 7,
    look: async () => {
      looks += 1;
      if (now.of instanceof Error) throw now.of;
      return now.of;
    },
    stop: () => (stopped = true),
  };
  const end = followed(job, { on: (hear) => (heard.add(hear), () => heard.delete(hear)) }, (progress) => seen.push(progress), stop.signal);
  end.catch(() => undefined);
  return { tell: (name, data = {}) => heard.forEach((hear) => hear({ name, data: JSON.stringify(data) })), now, seen, looks: () => looks, listeners: () => heard.size, stopped: () => stopped, stop, end };
}

const later = (): Promise<unknown> => vi.advanceTimersByTimeAsync(0);

test("verif_ progress and end come over the stream, and those of other work pass", async () => {
  const { tell, now, seen, end, listeners } = bench();
  await later();
  tell("job", { job: 7, state: "progress", share: 0.5, words: "rehearsing" });
  tell("job", { job: 8, state: "done" });
  expect(seen.map(({ share }) => share)).toEqual([0.1, 0.5]);
  now.of = { state: "done", result: "document" };
  tell("job", { job: 7, state: "done" });
  expect((await end).result).toBe("document");
  expect(listeners()).toBe(0);
});

test("verif_ an end that the stream missed is found when it opens again, and after a silence", async () => {
  for (const how of ["open", "missed", "silence"]) {
    const { tell, now, end, looks } = bench();
    await later();
    now.of = { state: "done", result: how };
    if (how === "silence") await vi.advanceTimersByTimeAsync(6000);
    else tell(how);
    expect((await end).result).toBe(how);
    const before = looks();
    await vi.advanceTimersByTimeAsync(60_000);
    expect(looks()).toBe(before);
  }
});

test("verif_ a server that does not answer is waited for, and one that knows no such job has lost it", async () => {
  const { tell, now, end } = bench();
  await later();
  now.of = new Error("the server does not answer");
  tell("open");
  await later();
  now.of = Object.assign(new Error("there is no job 7"), { status: 404 });
  tell("open");
  await expect(end).rejects.toThrow("no job 7");
});

test("verif_ what is stopped is stopped on the server, too", async () => {
  const { stop, end, stopped, listeners } = bench();
  await later();
  stop.abort();
  await expect(end).rejects.toThrow("stopped");
  expect(stopped()).toBe(true);
  expect(listeners()).toBe(0);
});
