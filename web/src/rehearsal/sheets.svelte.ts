import * as api from "../api.ts";
import { forget, keep, kept, sheetOf, sheetsKept, type Kept } from "../keep.ts";
import type { LineEnd } from "../plan/ends.ts";
import { newestLast } from "../line/pace.ts";
import { desk, type Pen } from "../state.svelte.ts";

/** A cue sheet in the page, beside what lies in its file. */
export interface Sheet {
  text: string;
  /** What lies in the file; null where the sheet is in none yet. */
  saved: { text: string; source_digest: string } | null;
  /** Digest of the file's text from which it was written; null of a sheet that was in no file. */
  base: string | null;
  end: LineEnd;
}

const isChanged = ({ text, saved }: Sheet): boolean => text !== saved?.text;

function asSaved(there: api.OnDisk): Sheet {
  return { text: there.text, saved: there, base: there.source_digest, end: there.end };
}

/** What a new sheet begins with. */
const BLANK = 'format = 1\n[rehearsal]\nname = "A calm minute"\nduration = "1 min"\nseed = 1\nwind = "5 m/s"\n';

/** The cue sheets that were looked at or written. Each keeps its own text, so that looking at another loses none. */
class Sheets {
  #all = $state.raw<ReadonlyMap<string, Sheet>>(new Map());
  name = $state<string | null>(null);
  conflict = $state.raw<api.OnDisk | null>(null);
  /** A text of the sheet that is looked at, left unsaved in this browser by an earlier page. */
  found = $state.raw<Kept | null>(null);
  /** The page's text that gave way to the file's. */
  given = $state<string | null>(null);
  told = $state<string | null>(null);
  failure = $state<string | null>(null);
  saving = $state(false);
  keepFails = $state(false);
  /** What the server says of a text of a sheet, and which text it was. */
  #looked = $state.raw<{ name: string; text: string; of: string; it: api.SheetLook } | null>(null);
  /** Why the text could not be looked through. */
  unlooked = $state<string | null>(null);
  /** The editor, where the text is open in one. */
  pen: Pen | null = null;

  get sheet(): Sheet | null {
    return this.name === null ? null : (this.#all.get(this.name) ?? null);
  }

  get text(): string {
    return this.sheet?.text ?? "";
  }

  get changed(): boolean {
    return this.sheet !== null && isChanged(this.sheet);
  }

  /** Names of the sheets whose text is in no file. */
  get unsaved(): string[] {
    return [...this.#all].filter(([, sheet]) => isChanged(sheet)).map(([name]) => name);
  }

  get names(): string[] {
    const session = desk.session;
    if (session === null) return [];
    return [...new Set([...session.cue_sheets, ...this.#all.keys(), ...sheetsKept(session.plan.identity)])].sort();
  }

  get foundIsBehind(): boolean {
    return this.found !== null && this.found.base !== (this.sheet?.saved?.source_digest ?? "");
  }

  /** What a rehearsal of the sheet asks for: one that lies in its file as it is here is named alone, and leaves evidence. */
  get wish(): { cues: string; cue_text?: string } | null {
    if (this.name === null || this.sheet === null) return null;
    return this.changed ? { cues: this.name, cue_text: this.sheet.text } : { cues: this.name };
  }

  /** What is wrong with the present text of the sheet, held against the present plan; null while that is not known. */
  get looked(): api.SheetLook | null {
    const one = this.#looked;
    return one !== null && one.name === this.name && one.text === this.text && one.of === desk.text ? one.it : null;
  }

  /** Has the text looked through. */
  readonly look = newestLast(async ({ name, text, of }: { name: string; text: string; of: string }) => {
    try {
      this.#looked = { name, text, of, it: await api.lookThrough(of, name, text) };
      this.unlooked = null;
    } catch (fault) {
      this.unlooked = api.words(fault);
    }
  });

  #key(name: string): string {
    return sheetOf(desk.session?.plan.identity ?? "", name);
  }

  #put(name: string, sheet: Sheet): void {
    this.#all = new Map([...this.#all, [name, sheet]]);
  }

  async pick(name: string): Promise<void> {
    this.name = name;
    this.conflict = null;
    this.found = null;
    this.given = null;
    this.told = null;
    this.failure = null;
    const own = this.#all.get(name);
    if (own !== undefined && isChanged(own)) return;
    try {
      await this.#read(name);
    } catch (fault) {
      if (this.name === name) this.failure = api.words(fault);
    }
  }

  /** Takes what lies in the file, where the page's text is no other; and finds what was left unsaved of it. */
  async #read(name: string): Promise<void> {
    const left = kept(this.#key(name));
    let there: api.OnDisk | null = null;
    try {
      there = await api.sheetOnDisk(name);
    } catch (fault) {
      // One that was begun and never saved is in no file.
      if (left === null || !(fault instanceof api.Refused && fault.status === 404)) throw fault;
    }
    const own = this.#all.get(name);
    if (own !== undefined && isChanged(own)) return;
    if (there === null) {
      if (left !== null) this.#put(name, { text: left.text, saved: null, base: null, end: "\n" });
      return;
    }
    this.#put(name, asSaved(there));
    if (left === null) return;
    if (left.text === there.text) {
      forget(this.#key(name));
      if (this.name === name) this.found = null;
    } else if (this.name === name) this.found = left;
  }

  /** Begins a sheet that is in no file yet. */
  begin(name: string): void {
    if (this.names.includes(name)) {
      void this.pick(name);
      return;
    }
    this.name = name;
    this.conflict = null;
    this.found = null;
    this.given = null;
    this.told = null;
    this.failure = null;
    this.#put(name, { text: BLANK, saved: null, base: null, end: "\n" });
    this.#keep(name, BLANK, null);
  }

  #keep(name: string, text: string, base: string | null): void {
    this.keepFails = !keep(this.#key(name), text, base ?? "");
  }

  write(text: string): void {
    const sheet = this.sheet;
    if (this.name === null || sheet === null || sheet.text === text) return;
    const next = { ...sheet, text };
    if (!isChanged(next)) next.base = sheet.saved?.source_digest ?? null;
    this.#put(this.name, next);
    this.told = null;
    if (isChanged(next)) {
      // A text that was left here is given up only by choice.
      if (this.found === null) this.#keep(this.name, text, next.base);
    } else {
      if (this.conflict?.source_digest === next.base) this.conflict = null;
      if (this.found === null) forget(this.#key(this.name));
    }
  }

  /** Reads an unchanged sheet again before it is rehearsed: the file may have been written meanwhile. */
  async fresh(): Promise<void> {
    if (this.name !== null && !this.changed) await this.#read(this.name);
  }

  async save(over?: api.OnDisk): Promise<void> {
    const { name, sheet } = this;
    const session = desk.session;
    if (name === null || sheet === null || session === null || this.saving) return;
    this.saving = true;
    this.failure = null;
    const { text } = sheet;
    const end = over?.end ?? sheet.end;
    try {
      const done = await api.saveSheet(session.plan.identity, name, text, end, over === undefined ? sheet.base : over.source_digest);
      if (done.kind === "changed") {
        this.conflict = done.there;
        return;
      }
      const { source_digest } = done;
      const now = this.#all.get(name)?.text ?? text;
      this.#put(name, { text: now, saved: { text, source_digest }, base: source_digest, end });
      if (now === text) forget(this.#key(name));
      else this.#keep(name, now, source_digest);
      if (!session.cue_sheets.includes(name)) desk.session = { ...session, cue_sheets: [...session.cue_sheets, name].sort() };
      if (this.name === name) {
        this.conflict = null;
        this.given = null;
        this.told = "Saved.";
      }
    } catch (fault) {
      this.failure = `Not saved: ${api.words(fault)}`;
    } finally {
      this.saving = false;
    }
  }

  /** Takes what lies on the disk; the page's text can be brought back. */
  takeTheirs(there: api.OnDisk): void {
    if (this.name === null || this.sheet === null) return;
    this.given = this.sheet.text;
    this.#put(this.name, asSaved(there));
    this.conflict = null;
    forget(this.#key(this.name));
  }

  bringMine(): void {
    if (this.given === null) return;
    const text = this.given;
    this.given = null;
    this.write(text);
  }

  /** Brings back what an earlier page left unsaved; what was written to the file since is shown as a difference. */
  restore(): void {
    const { name, sheet, found } = this;
    if (name === null || sheet === null || found === null) return;
    const behind = this.foundIsBehind;
    this.found = null;
    this.#put(name, { ...sheet, text: found.text, base: found.base === "" ? null : found.base });
    this.#keep(name, found.text, found.base);
    if (behind && sheet.saved !== null) this.conflict = { ...sheet.saved, end: sheet.end, mixed: false };
  }

  dropFound(): void {
    this.found = null;
    if (this.name === null) return;
    if (this.changed) this.#keep(this.name, this.text, this.sheet?.base ?? null);
    else forget(this.#key(this.name));
  }
}

export const sheets = new Sheets();
