import * as api from "./api.ts";
import type { Consequences, Mistake, Verdicts } from "./documents.ts";
import { keep, kept, forget, type Kept } from "./keep.ts";
import { edits } from "./plan/edits.ts";
import type { LineEnd } from "./plan/ends.ts";
import { newestLast } from "./line/pace.ts";
import { unfinished } from "./pace.ts";
import type { Told } from "./events.ts";
import { stream } from "./stream.ts";

export type Tab = "line" | "year" | "hearing" | "traffic" | "mooring" | "rehearsal" | "quay";

/** Where the page writes into the plan: the editor, which owns the text and its undo history. */
export interface Pen {
  replace(from: number, to: number, insert: string): void;
  /** `apart`: undone by itself, and not with what was written just before. */
  replaceAll(text: string, apart?: boolean): void;
  show(from: number, to: number): void;
  undo(): void;
  redo(): void;
  depth(): { undo: number; redo: number };
}

const FULL_AFTER_MS = 600;
const RETRY_AFTER_MS = 1500;
const OTHER_AFTER_MS = 5000;

/** What lies on the disk, where it is another text than the page began with. */
export type Conflict = api.OnDisk;

/** All that the page knows; what it shows of the line comes from the server's answers alone. */
export class Desk {
  session = $state.raw<api.Session | null>(null);
  failure = $state<string | null>(null);
  text = $state("");
  saved = $state("");
  base = $state("");
  consequences = $state.raw<Consequences | null>(null);
  /** Verdicts of the last text that could be judged, while the present one cannot. */
  verdicts = $state.raw<Verdicts | null>(null);
  asking = $state<"quick" | "full" | null>(null);
  refused = $state<string | null>(null);
  lost = $state(false);
  /** Why the plan's file is gone, or cannot be read; null while it is there. */
  gone = $state<string | null>(null);
  /** Whether a server answers at this port, and it is that of another plan. */
  other = $state(false);
  conflict = $state.raw<Conflict | null>(null);
  /** Whether the conflict answers what was asked for here, as saving. */
  conflictCalls = false;
  told = $state<string | null>(null);
  saving = $state(false);
  tab = $state<Tab>("line");
  picked = $state<string | null>(null);
  held = $state<string | null>(null);
  left = $state({ undo: 0, redo: 0 });
  found = $state.raw<Kept | null>(null);
  keepFails = $state(false);
  /** Counts what was heard to change beside the plan: evidence, catalogues, cue sheets, labels. */
  beside = $state(0);

  pen: Pen | null = null;
  /** Digest of `saved`; `base` is another one where the page's text was written from an older file. */
  #savedDigest = $state("");
  /** How lines end in the file. */
  #end: LineEnd = "\n";
  readonly #set = edits({ now: () => this.text, put: (text) => this.pen?.replaceAll(text, false) }, api.edit);
  /** Counts the texts; the one that what is shown is of. */
  #serial = $state(0);
  #shown = $state(0);
  /** One quick check is out at a time; of the texts that come meanwhile the newest is next. */
  readonly #quick = newestLast<"quick">((tier) => this.#judge(tier));
  readonly #fullOut = unfinished();
  #full: ReturnType<typeof setTimeout> | undefined;
  #listening = false;
  #retry: ReturnType<typeof setTimeout> | undefined;
  #beat = 0;
  #looking = false;

  get unsaved(): boolean {
    return this.session !== null && this.text !== this.saved;
  }

  get readOnly(): boolean {
    return this.session?.plan.read_only ?? true;
  }

  get mistakes(): Mistake[] {
    return this.consequences?.mistakes ?? [];
  }

  /** Whether what is shown is of an older text than the one in the editor. */
  get behind(): boolean {
    return this.#shown < this.#serial;
  }

  async begin(): Promise<void> {
    try {
      const session = await api.session();
      this.session = session;
      this.#lies(session.plan);
      this.text = session.plan.text;
      this.failure = null;
      if (session.plan.mixed) this.told = "Lines of this file end in two ways; saving ends all of them as most do.";
      const left = kept(session.plan.identity);
      if (left !== null && left.text !== session.plan.text) this.found = left;
      else forget(session.plan.identity);
      this.again();
      this.#listen();
    } catch (fault) {
      this.failure = api.words(fault);
    }
  }

  /** Takes this as what lies on the disk, and as what the page's text is written from. */
  #lies(disk: Pick<api.OnDisk, "text" | "end" | "source_digest">): void {
    this.saved = disk.text;
    this.#end = disk.end;
    this.#savedDigest = disk.source_digest;
    this.base = disk.source_digest;
  }

  #keep(text: string): void {
    if (this.session !== null) this.keepFails = !keep(this.session.plan.identity, text, this.base);
  }

  /** Called by the editor with each change of the text. */
  written(text: string): void {
    this.text = text;
    if (this.pen !== null) this.left = this.pen.depth();
    this.told = null;
    this.#serial += 1;
    if (this.session !== null) {
      if (this.unsaved) this.#keep(text);
      else {
        this.base = this.#savedDigest;
        if (this.conflict?.source_digest === this.base) this.conflict = null;
        forget(this.session.plan.identity);
      }
    }
    this.#fullOut.stop();
    void this.#quick("quick");
    this.#rest();
  }

  #rest(): void {
    clearTimeout(this.#full);
    this.#full = setTimeout(() => void this.#judge("full"), FULL_AFTER_MS);
  }

  async #judge(tier: "quick" | "full"): Promise<void> {
    // Another plan's server would judge this text by what lies beside that plan.
    if (this.other) return;
    const serial = this.#serial;
    const signal = tier === "full" ? this.#fullOut.next() : undefined;
    this.asking = tier;
    try {
      const answer = await api.consequences(this.text, tier, serial * 2 + (tier === "full" ? 1 : 0), signal);
      if (this.lost) {
        // Which server answers again is looked at first.
        this.asking = null;
        this.#here();
        return;
      }
      // What is newer than what is shown is shown, though a newer text may be written already: it is marked as behind.
      if (serial < this.#shown) return;
      // The quick one may come behind the full one of its text.
      if (tier === "quick" && serial === this.#shown && this.consequences?.tier === "full" && this.consequences.source_digest === answer.source_digest) return;
      this.#shown = serial;
      this.consequences = answer;
      if (answer.verdicts !== null) this.verdicts = answer.verdicts;
      this.refused = null;
      if (this.asking === tier) this.asking = null;
      this.#here();
      document.documentElement.dataset["digest"] = answer.source_digest;
      document.documentElement.dataset["tier"] = answer.tier;
    } catch (fault) {
      if (api.isStopped(fault)) return;
      if (fault instanceof api.Refused && fault.code === "superseded") return;
      if (serial < this.#serial) return;
      this.asking = null;
      if (fault instanceof api.Lost) this.#away();
      else this.refused = api.words(fault);
    }
  }

  /** Asks again for what is shown, as after the server came back. */
  again(): void {
    void this.#quick("quick");
    this.#rest();
  }

  async save(over?: Conflict): Promise<void> {
    if (this.session === null || this.saving || this.readOnly) return;
    this.saving = true;
    const text = this.text;
    const end = over?.end ?? this.#end;
    try {
      const done = await api.save(this.session.plan.identity, text, end, over?.source_digest ?? this.base);
      if (done.kind === "changed") {
        this.conflictCalls = true;
        this.conflict = done.there;
        return;
      }
      this.#lies({ text, end, source_digest: done.source_digest });
      this.gone = null;
      this.conflict = null;
      this.told = "Saved.";
      if (this.text === text) forget(this.session.plan.identity);
      else this.#keep(this.text);
    } catch (fault) {
      if (fault instanceof api.Lost) this.#away();
      else this.told = `Not saved: ${api.words(fault)}`;
    } finally {
      this.saving = false;
    }
  }

  /** Takes what lies on the disk; the page's own text stays one undo away. */
  takeTheirs(conflict: Conflict): void {
    this.#lies(conflict);
    this.conflict = null;
    this.pen?.replaceAll(conflict.text);
    this.told = "The file's text is taken. Undo brings yours back.";
  }

  /** Whether the file was written since the found text was left. */
  get foundIsBehind(): boolean {
    return this.found !== null && this.found.base !== this.#savedDigest;
  }

  /** Brings back a text that an earlier page left unsaved in this browser; what was written to the file since is shown as a difference. */
  restore(): void {
    if (this.found === null) return;
    const { text, base } = this.found;
    const behind = this.foundIsBehind;
    this.base = base;
    this.pen?.replaceAll(text);
    this.found = null;
    if (!this.unsaved) this.base = this.#savedDigest;
    else if (behind) {
      this.conflictCalls = true;
      this.conflict = { text: this.saved, source_digest: this.#savedDigest, end: this.#end, mixed: false };
    }
  }

  dropFound(): void {
    this.found = null;
    if (this.session !== null) forget(this.session.plan.identity);
  }

  /** Writes a value at a path of the plan through the plan's own edit; gives the reason when it cannot. */
  async set(path: string, value: string): Promise<string | null> {
    try {
      await this.#set(path, value);
      return null;
    } catch (fault) {
      if (fault instanceof api.Lost) this.#away();
      return api.words(fault);
    }
  }

  showPlace(from: number, to: number): void {
    this.pen?.show(from, to);
  }

  #listen(): void {
    if (!this.#listening) {
      this.#listening = true;
      stream.on((told) => this.#hear(told));
    }
    this.#beat = Date.now();
    stream.again();
    if (this.lost) this.#retryLater();
  }

  #retryLater(): void {
    clearTimeout(this.#retry);
    this.#retry = setTimeout(() => this.#listen(), this.other ? OTHER_AFTER_MS : RETRY_AFTER_MS);
  }

  #hear({ name, data }: Told): void {
    if (name === "error") {
      this.#away();
      return;
    }
    this.#here();
    if (name === "plan-changed") {
      const { source_digest } = JSON.parse(data) as { source_digest: string };
      this.gone = null;
      void this.#changedOnDisk(source_digest);
    } else if (name === "plan-gone") {
      const { error } = JSON.parse(data) as { error: { message: string; help: string | null } };
      this.gone = error.help === null ? error.message : `${error.message}. ${error.help}`;
    } else if (name === "beside-changed") {
      this.besideChanged();
    } else if (name === "missed" && !this.lost) {
      void this.#changedOnDisk(null);
      this.besideChanged();
    }
  }

  /** What verdicts rest on is another: they are asked for anew, as are views that stand on the same. */
  besideChanged(): void {
    this.beside += 1;
    this.again();
  }

  /** Without a digest it is not known whether the file changed. */
  async #changedOnDisk(digest: string | null): Promise<void> {
    if (digest === this.base || this.saving) return;
    try {
      const disk = await api.planOnDisk();
      this.gone = null;
      if (this.#isOther(disk.identity) || disk.source_digest === this.base) return;
      if (disk.text === this.text) {
        this.#lies(disk);
        return;
      }
      if (this.unsaved) {
        this.conflictCalls = false;
        this.conflict = disk;
        return;
      }
      this.takeTheirs(disk);
      this.told = "The file changed on the disk; the page follows it. Undo brings the former text back.";
    } catch (fault) {
      this.#unread(fault);
    }
  }

  #unread(fault: unknown): void {
    if (fault instanceof api.Refused) this.gone = api.words(fault);
    else this.#away();
  }

  #here(): void {
    this.#beat = Date.now();
    if (!this.lost || this.#looking) return;
    clearTimeout(this.#retry);
    void this.#back();
  }

  /** Whether the server that answers is that of another plan; if so, the page waits for its own. */
  #isOther(identity: string): boolean {
    this.other = identity !== this.session?.plan.identity;
    api.onlyWhichPlan(this.other);
    if (this.other) this.#away();
    return this.other;
  }

  /** After a silence: the file may have changed meanwhile, and verdicts may be missing. */
  async #back(): Promise<void> {
    this.#looking = true;
    try {
      const disk = await api.planOnDisk();
      if (this.#isOther(disk.identity)) return;
      this.lost = false;
      await this.#changedOnDisk(disk.source_digest);
    } catch (fault) {
      this.#unread(fault);
      if (!(fault instanceof api.Refused)) return;
      // The server is there, and the file is not.
      this.lost = false;
    } finally {
      this.#looking = false;
    }
    this.again();
  }

  #away(): void {
    this.lost = true;
    this.asking = null;
    this.#retryLater();
  }

  /** Called now and then: a stream that stays open without its heartbeat is a lost server, too. */
  watch(): void {
    if (!this.lost && this.session !== null && Date.now() - this.#beat > 16_000) this.#away();
  }
}

export const desk = new Desk();
