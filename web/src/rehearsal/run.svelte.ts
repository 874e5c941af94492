import * as api from "../api.ts";
import type { Mistake, Rehearsal, TraceRecord } from "../documents.ts";
import { desk } from "../state.svelte.ts";

const PAGE = 5000;
const MOST = 60_000;

/** The rehearsal that the page looks at; it outlives its view, so that one can look at another and come back. */
class Run {
  name = $state<string | null>(null);
  sheet = $state("");
  changed = $state(false);
  working = $state.raw<AbortController | null>(null);
  progress = $state.raw<api.Progress | null>(null);
  failure = $state<string | null>(null);
  mistakes = $state.raw<Mistake[]>([]);
  job = $state<string | null>(null);
  it = $state.raw<Rehearsal | null>(null);
  records = $state.raw<TraceRecord[]>([]);
  cut = $state(false);
  at_s = $state(0);
  playing = $state(false);
  speed = $state(10);
  of = $state("");

  async pick(name: string): Promise<void> {
    try {
      const { text } = await api.part<{ text: string }>(`/api/cues/${name.split("/").map(encodeURIComponent).join("/")}`);
      this.name = name;
      this.sheet = text;
      this.changed = false;
      this.failure = null;
    } catch (fault) {
      this.failure = api.words(fault);
    }
  }

  write(sheet: string): void {
    this.sheet = sheet;
    this.changed = true;
  }

  async start(): Promise<void> {
    this.working?.abort();
    const stop = new AbortController();
    this.working = stop;
    this.progress = null;
    this.failure = null;
    this.mistakes = [];
    this.playing = false;
    const of = desk.text;
    try {
      const wish = this.changed || this.name === null ? { cue_text: this.sheet } : { cues: this.name };
      const { id, result } = await api.job<Rehearsal>("rehearse", of, wish, (told) => (this.progress = told), stop.signal);
      const records: TraceRecord[] = [];
      let from_s = 0;
      let more = true;
      const seen = new Set<number>();
      while (more && records.length < MOST) {
        const page = await api.part<{ records: TraceRecord[]; more?: boolean }>(`/api/jobs/${id}/records?from_s=${from_s}&limit=${PAGE}`);
        const fresh = page.records.filter((one) => !seen.has(one.id));
        for (const one of fresh) seen.add(one.id);
        records.push(...fresh);
        from_s = (records.at(-1)?.at_ns ?? 0) / 1e9;
        more = (page.more ?? page.records.length >= PAGE) && fresh.length > 0;
      }
      this.job = id;
      this.it = result;
      this.records = records;
      this.cut = more;
      this.at_s = 0;
      this.of = of;
    } catch (fault) {
      if (!api.isStopped(fault)) {
        this.failure = api.words(fault);
        this.mistakes = api.mistakesOf(fault);
      }
    } finally {
      if (this.working === stop) this.working = null;
    }
  }
}

export const run = new Run();
