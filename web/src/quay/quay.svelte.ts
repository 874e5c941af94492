import * as api from "../api.ts";
import type { Dockside, QuayRow } from "../documents.ts";
import { forget, keep, kept } from "../keep.ts";
import { newestLast } from "../line/pace.ts";
import { unfinished } from "../pace.ts";
import { desk } from "../state.svelte.ts";

/** What stands in a box, as it was typed. */
export interface Box {
  reading: string;
  unit: string;
  initials: string;
  note: string;
}

/** What is said of the quay; an empty box says nothing. */
export interface Said {
  temperature_degc: string;
  meter_volts: string;
  meter_amps: string;
  meter_ohms: string;
  calibrator_level_db_re_1upa: string;
  calibrator_frequency_hz: string;
}

const NUMBERS = ["temperature_degc", "calibrator_level_db_re_1upa", "calibrator_frequency_hz"] as const;
const TEXTS = ["meter_volts", "meter_amps", "meter_ohms"] as const;
const NOTHING: Said = { temperature_degc: "", meter_volts: "", meter_amps: "", meter_ohms: "", calibrator_level_db_re_1upa: "", calibrator_frequency_hz: "" };

interface Left {
  boxes: [string, Box][];
  said: Said;
}

/** Readings of the quay and what the server says of them; they outlive their view, and the page. */
class Quay {
  boxes = $state.raw<ReadonlyMap<string, Box>>(new Map());
  said = $state<Said>({ ...NOTHING });
  initials = $state("");
  it = $state.raw<Dockside | null>(null);
  /** What `it` was asked with. */
  #of = $state("");
  failure = $state<string | null>(null);
  /** What was wrong with a file that was loaded. */
  unloaded = $state.raw<string[]>([]);
  keepFails = $state(false);
  #began = false;
  readonly #asking = unfinished();

  get rows(): QuayRow[] {
    return [...this.boxes].map(([step, { reading, unit, initials, note }]) => [step, reading, unit, initials, note]);
  }

  /** Numbers as they are typed; what is none is sent as it is, for the server to say so. */
  get #wish(): Record<string, unknown> {
    const wish: Record<string, unknown> = {};
    for (const key of NUMBERS) {
      const typed = this.said[key].trim();
      if (typed !== "") wish[key] = Number.isNaN(Number(typed)) ? typed : Number(typed);
    }
    for (const key of TEXTS) if (this.said[key].trim() !== "") wish[key] = this.said[key].trim();
    return wish;
  }

  get #now(): string {
    return JSON.stringify([desk.text, this.said, this.rows]);
  }

  /** Whether what is shown is of other readings, or of another text. */
  get stale(): boolean {
    return this.it !== null && this.#of !== this.#now;
  }

  /** How many boxes hold a reading. */
  get taken(): number {
    return [...this.boxes.values()].filter(({ reading }) => reading.trim() !== "").length;
  }

  get #key(): string {
    return `quay.${desk.session?.plan.identity ?? ""}`;
  }

  /** Takes up what an earlier page left in this browser. */
  begin(): void {
    if (this.#began) return;
    this.#began = true;
    const left = kept(this.#key);
    if (left === null) return;
    try {
      const { boxes, said } = JSON.parse(left.text) as Left;
      this.boxes = new Map(boxes);
      this.said = { ...NOTHING, ...said };
    } catch {
      forget(this.#key);
    }
  }

  readonly #judge = newestLast(async () => {
    const of = this.#now;
    try {
      this.it = await api.quay(desk.text, this.#wish, { rows: this.rows }, this.#asking.next());
      this.#of = of;
      this.failure = null;
    } catch (fault) {
      if (!api.isStopped(fault)) this.failure = api.words(fault);
    }
  });

  /** Has the readings judged as they stand. */
  ask(): void {
    void this.#judge(undefined);
  }

  #keep(): void {
    const left: Left = { boxes: [...this.boxes], said: this.said };
    this.keepFails = !keep(this.#key, JSON.stringify(left), "");
  }

  say(key: keyof Said, typed: string): void {
    this.said = { ...this.said, [key]: typed };
    this.#keep();
  }

  put(step: string, change: Partial<Box>): void {
    const before = this.boxes.get(step) ?? { reading: "", unit: "", initials: "", note: "" };
    const box = { ...before, ...change };
    if (change.reading !== undefined && this.initials.trim() !== "") box.initials = this.initials.trim();
    const boxes = new Map(this.boxes);
    // A unit that was chosen before anything is typed is kept for what will be.
    if (change.reading?.trim() === "" && box.note === "") boxes.delete(step);
    else boxes.set(step, box);
    this.boxes = boxes;
    this.#keep();
  }

  clear(): void {
    this.boxes = new Map();
    this.unloaded = [];
    forget(this.#key);
  }

  /** Takes the readings of a file in place of those that are here. */
  async load(csv: string): Promise<void> {
    this.unloaded = [];
    try {
      const it = await api.quay(desk.text, this.#wish, { csv });
      // What the sheet itself writes beside a box is written anew when it is saved.
      const own = (note: string): string => (note.startsWith("expected") ? "" : note);
      const boxes = it.rows.map(([step, reading, unit, initials, note]): [string, Box] => [step, { reading, unit, initials, note: own(note) }]);
      this.boxes = new Map(boxes.filter(([, { reading, note }]) => reading !== "" || note !== ""));
      this.unloaded = it.row_faults.filter(({ kept }) => !kept).map(({ line, why }) => `line ${line}: ${why}`);
      this.#keep();
      this.ask();
    } catch (fault) {
      this.unloaded = [api.words(fault)];
    }
  }
}

export const quay = new Quay();
