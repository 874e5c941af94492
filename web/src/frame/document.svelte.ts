import * as api from "../api.ts";
import { unfinished } from "../pace.ts";
import { desk } from "../state.svelte.ts";

const AFTER_MS = 500;

/** Why a document that is shown is not the one that is wanted: of an older text, or of another wish. */
export type Stale = "text" | "wish" | null;

/**
 * A document of the text in the editor, asked for anew when the text rests. What was there stays while the new one comes, and is
 * then marked as older.
 */
export class Documented<T> {
  it = $state.raw<T | null>(null);
  busy = $state(false);
  failure = $state<string | null>(null);
  /** The text and the wish that `it` is of. */
  #of = $state.raw<{ text: string; wish: string } | null>(null);
  #wanted = $state("");
  #kind: string;
  /** Whether a first one came. No state: what asks would else be asked again by its own answer. */
  #came = false;
  #asking = unfinished();
  #timer: ReturnType<typeof setTimeout> | undefined;

  constructor(kind: string) {
    this.#kind = kind;
  }

  get stale(): Stale {
    if (this.it === null || this.#of === null) return null;
    if (this.#of.wish !== this.#wanted) return "wish";
    return this.#of.text === desk.text ? null : "text";
  }

  /** To be called in an effect that reads `desk.text` and the wishes. */
  follow(text: string, wish: Record<string, unknown>): () => void {
    this.#wanted = JSON.stringify(wish);
    // What lies beside the plan counts, too: a change of it asks again.
    void desk.beside;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.#ask(text, wish), this.#came ? AFTER_MS : 0);
    return () => clearTimeout(this.#timer);
  }

  async #ask(text: string, wish: Record<string, unknown>): Promise<void> {
    this.busy = true;
    try {
      this.it = await api.document<T>(this.#kind, text, wish, this.#asking.next());
      this.#of = { text, wish: JSON.stringify(wish) };
      this.#came = true;
      this.failure = null;
      this.busy = false;
    } catch (fault) {
      if (api.isStopped(fault)) return;
      this.failure = api.words(fault);
      this.busy = false;
    }
  }
}
