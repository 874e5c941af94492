import * as api from "../api.ts";
import { unfinished } from "../pace.ts";
import { desk } from "../state.svelte.ts";

const AFTER_MS = 500;

/**
 * A document of the text in the editor, asked for anew when the text rests. What was there stays while the new one comes, and is
 * then marked as older.
 */
export class Documented<T> {
  it = $state.raw<T | null>(null);
  busy = $state(false);
  failure = $state<string | null>(null);
  /** The text that `it` is of. */
  of = $state<string | null>(null);
  #kind: string;
  #asking = unfinished();
  #timer: ReturnType<typeof setTimeout> | undefined;

  constructor(kind: string) {
    this.#kind = kind;
  }

  get stale(): boolean {
    return this.it !== null && this.of !== desk.text;
  }

  /** To be called in an effect that reads `desk.text` and the wishes. */
  follow(text: string, wish: Record<string, unknown>): () => void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.#ask(text, wish), this.of === null ? 0 : AFTER_MS);
    return () => clearTimeout(this.#timer);
  }

  async #ask(text: string, wish: Record<string, unknown>): Promise<void> {
    this.busy = true;
    try {
      this.it = await api.document<T>(this.#kind, text, wish, this.#asking.next());
      this.of = text;
      this.failure = null;
      this.busy = false;
    } catch (fault) {
      if (api.isStopped(fault)) return;
      this.failure = api.words(fault);
      this.busy = false;
    }
  }
}
