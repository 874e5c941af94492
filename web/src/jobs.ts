import type { Stream } from "./events.ts";

export interface Progress {
  share: number | null;
  words: string;
}

/** A job as the server has it now. */
export interface Now<T> {
  state: "progress" | "done" | "failed" | "cancelled";
  result: T;
  progress?: Progress;
  error?: { code?: string; message: string; help?: string | null };
}

/** Long work on the server. */
export interface Job<T> {
  id: number;
  /** How far it is; rejects where the server does not answer, or has no such job. */
  look(): Promise<Now<T>>;
  stop(): void;
}

/** After so long without a word the server is asked. */
const ASK_AFTER_MS = 5000;

/**
 * Follows work to its end by what the stream tells. What the stream may have missed is asked for: at the beginning, when it opens
 * again, and after a silence. A server that does not answer is waited for; one that does not know the job has lost it.
 */
export function followed<T>(job: Job<T>, stream: Pick<Stream, "on">, tell: (progress: Progress) => void, signal: AbortSignal): Promise<Now<T>> {
  return new Promise((done, fail) => {
    let over = false;
    let looking = false;
    let more = false;
    let silence: ReturnType<typeof setTimeout> | undefined;
    const end = (finish: () => void): void => {
      if (over) return;
      over = true;
      clearTimeout(silence);
      leave();
      signal.removeEventListener("abort", cancel);
      finish();
    };
    const wait = (): void => {
      clearTimeout(silence);
      if (!over) silence = setTimeout(() => void look(), ASK_AFTER_MS);
    };
    const look = async (): Promise<void> => {
      more = looking;
      if (looking) return;
      looking = true;
      try {
        const now = await job.look();
        if (now.state !== "progress") end(() => done(now));
        else if (now.progress !== undefined && !over) tell(now.progress);
      } catch (fault) {
        // No answer at all: the stream tells when there is one again.
        if (isAnswer(fault)) end(() => fail(fault));
      } finally {
        looking = false;
        wait();
      }
      if (more && !over) void look();
    };
    const cancel = (): void => {
      job.stop();
      end(() => fail(new DOMException("stopped", "AbortError")));
    };
    const leave = stream.on(({ name, data }) => {
      if (name === "open" || name === "missed") void look();
      if (name !== "job") return;
      const told = JSON.parse(data) as { job: number; state: Now<T>["state"] } & Progress;
      if (told.job !== job.id) return;
      wait();
      if (told.state === "progress") tell(told);
      else void look();
    });
    if (signal.aborted) cancel();
    else {
      signal.addEventListener("abort", cancel);
      void look();
    }
  });
}

/** Whether the server answered, and said no. */
function isAnswer(fault: unknown): boolean {
  return typeof fault === "object" && fault !== null && "status" in fault;
}
