import * as api from "../api.ts";
import type { Mistake, Rehearsal, TraceRecord } from "../documents.ts";
import { desk } from "../state.svelte.ts";
import { allOf, type Page } from "./records.ts";
import { sheets } from "./sheets.svelte.ts";

const PAGE = 5000;
const MOST = 60_000;

/** The rehearsal that the page looks at; it outlives its view, so that one can look at another and come back. */
class Run {
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
      await sheets.fresh();
      const wish = sheets.wish;
      if (wish === null || stop.signal.aborted) return;
      const { id, result } = await api.job<Rehearsal>("rehearse", of, wish, (told) => (this.progress = told), stop.signal);
      const { records, more } = await allOf((after) => api.part<Page>(`/api/jobs/${id}/records?limit=${PAGE}${after === null ? "" : `&after=${after}`}`), MOST);
      // Its records lie on the server's disk as long as it knows the job.
      if (this.job !== null) api.forgetJob(this.job);
      this.job = id;
      this.it = result;
      if (result.evidence !== null) desk.besideChanged();
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
