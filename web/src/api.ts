import type { Consequences, Dockside, Mistake, QuayRow } from "./documents.ts";
import { followed, type Now, type Progress } from "./jobs.ts";
import { linesOf, withEnds, type LineEnd, type Lines } from "./plan/ends.ts";
import { stream } from "./stream.ts";

export type { Progress } from "./jobs.ts";

/** A text that lies in a file, and the digest by which the server knows it. */
export interface OnDisk extends Lines {
  source_digest: string;
}

export interface Session {
  format: string;
  program: string;
  version: string;
  plan: { identity: string; file: string; folder_name: string; read_only: boolean } & OnDisk;
  cue_sheets: string[];
  recordings: string[];
  /** Why there may be more of both than these. */
  not_all: string | null;
  /** Parts of the plan's catalogues that are modules. */
  parts?: { id: string; is: string | null }[];
  schema: JsonSchema;
  cue_schema?: JsonSchema;
  knobs: unknown;
}

export interface JsonSchema {
  $ref?: string;
  $defs?: Record<string, JsonSchema>;
  type?: string | string[];
  description?: string;
  properties?: Record<string, JsonSchema>;
  additionalProperties?: JsonSchema | boolean;
  patternProperties?: Record<string, JsonSchema>;
  items?: JsonSchema;
  enum?: unknown[];
  const?: unknown;
  examples?: unknown[];
  required?: string[];
  allOf?: JsonSchema[];
  anyOf?: JsonSchema[];
  oneOf?: JsonSchema[];
}

/** An answer of the server that is no success; `help` says what to do about it. */
export class Refused extends Error {
  readonly status: number;
  readonly code: string;
  readonly help: string | null;
  readonly body: unknown;

  constructor(status: number, code: string, message: string, help: string | null, body: unknown) {
    super(message);
    this.status = status;
    this.code = code;
    this.help = help;
    this.body = body;
  }
}

/** The server did not answer at all. */
export class Lost extends Error {}

function isRecord(value: unknown): value is Record<string, unknown> {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

async function refusal(answer: Response): Promise<Refused> {
  let body: unknown = null;
  try {
    body = await answer.json();
  } catch {
    // An answer without JSON still has its status.
  }
  const error = isRecord(body) && isRecord(body["error"]) ? body["error"] : {};
  const text = (key: string): string | null => (typeof error[key] === "string" ? error[key] : null);
  return new Refused(
    answer.status,
    text("code") ?? String(answer.status),
    text("message") ?? `the server answered ${answer.status}`,
    text("help"),
    body,
  );
}

let others = false;

/** While the server of another plan answers at this port, it is asked for nothing but which plan it has. */
export function onlyWhichPlan(yes: boolean): void {
  others = yes;
}

async function ask<T>(path: string, init?: RequestInit): Promise<T> {
  if (others && path !== "/api/plan") {
    throw new Refused(409, "another-plan", "the desk of another plan answers at this port", "Start `soundline desk` with this page's plan at the same port again", null);
  }
  let answer: Response;
  try {
    answer = await fetch(path, { credentials: "same-origin", ...init });
  } catch (fault) {
    if (fault instanceof DOMException && fault.name === "AbortError") throw fault;
    throw new Lost("the server does not answer");
  }
  if (!answer.ok) throw await refusal(answer);
  return (await answer.json()) as T;
}

function send(method: string, body: unknown, signal?: AbortSignal): RequestInit {
  return {
    method,
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
    ...(signal === undefined ? {} : { signal }),
  };
}

/** The text comes with short line ends, and with what the file has. */
function lying<T extends { text: string; source_digest: string }>(told: T): T & OnDisk {
  return { ...told, ...linesOf(told.text) };
}

export async function session(): Promise<Session> {
  const told = await ask<Session>("/api/session");
  return { ...told, plan: lying(told.plan) };
}

/** `identity` tells this plan from every other that a server at this port may have. */
export const planOnDisk = async (): Promise<OnDisk & { identity: string }> => lying(await ask<{ text: string; source_digest: string; identity: string }>("/api/plan"));

const sheetPath = (name: string): string => `/api/cues/${name.split("/").map(encodeURIComponent).join("/")}`;

export const sheetOnDisk = async (name: string): Promise<OnDisk> => lying(await ask(sheetPath(name)));

/** What saving came to: the new digest, or what lies on the disk instead, which was not touched. */
export type Saved = { kind: "written"; source_digest: string } | { kind: "changed"; there: OnDisk };

async function put(path: string, body: { text: string; base_digest: string | null; identity: string }): Promise<Saved> {
  try {
    const { source_digest } = await ask<{ source_digest: string }>(path, send("PUT", body));
    return { kind: "written", source_digest };
  } catch (fault) {
    if (fault instanceof Refused && fault.status === 409 && isRecord(fault.body)) {
      const { text, source_digest } = fault.body;
      if (typeof text === "string" && typeof source_digest === "string") return { kind: "changed", there: lying({ text, source_digest }) };
    }
    throw fault;
  }
}

export const save = (identity: string, text: string, end: LineEnd, base_digest: string): Promise<Saved> => put("/api/plan", { text: withEnds(text, end), base_digest, identity });

/** Without a base it is written only where no file is. */
export const saveSheet = (identity: string, name: string, text: string, end: LineEnd, base_digest: string | null): Promise<Saved> =>
  put(sheetPath(name), { text: withEnds(text, end), base_digest, identity });

/** What is wrong with the text of a cue sheet, held against the text of a plan. */
export interface SheetLook {
  source_digest: string;
  /** The name by which its mistakes call it. */
  file: string;
  mistakes: Mistake[];
  /** Whether the plan gives a line; without one what the sheet names is not looked up. */
  has_line: boolean;
}

export const lookThrough = (text: string, cues: string, cue_text: string): Promise<SheetLook> => ask("/api/sheet", send("POST", { text, cues, cue_text }));

/** This page among others that may look at the same plan: a newer text takes the place of an older one of its own page alone. */
const client = crypto.getRandomValues(new Uint32Array(2)).join("-");

export function consequences(text: string, tier: "quick" | "full", serial: number, signal?: AbortSignal): Promise<Consequences> {
  return ask("/api/consequences", send("POST", { text, tier, serial, client }, signal));
}

let tries = 0;

/** What would follow from a text that is not in the editor. */
export function trial(text: string, tier: "quick" | "full", signal?: AbortSignal): Promise<Consequences> {
  tries += 1;
  return ask("/api/consequences", send("POST", { text, tier, serial: tries, client: `${client}-trial` }, signal));
}

export function document<T>(kind: string, text: string, wish: Record<string, unknown> = {}, signal?: AbortSignal): Promise<T> {
  return ask(`/api/document/${kind}`, send("POST", { text, ask: wish }, signal));
}

export interface Edit {
  text: string;
  from: number;
  to: number;
}

export const edit = (text: string, path: string, value: string): Promise<Edit> => ask("/api/edit", send("POST", { text, path, value }));

export function places<T>(text: string, wish: Record<string, unknown>, signal?: AbortSignal): Promise<T> {
  return ask("/api/places", send("POST", { text, ...wish }, signal));
}

/** The plan's text with a held part at one of its places, by the place's number among those told. */
export function place(text: string, wish: Record<string, unknown>, number: number): Promise<{ text: string; module: string }> {
  return ask("/api/place", send("POST", { held: { text, ...wish }, number }));
}

/** The sheet of the quay, and what came of readings: rows of boxes, or the text of a file of them. */
export function quay(text: string, said: Record<string, unknown>, readings: { rows: QuayRow[] } | { csv: string }, signal?: AbortSignal): Promise<Dockside> {
  return ask("/api/quay", send("POST", { text, quay: said, ...readings }, signal));
}

/** `real_per_d`: real events that come in a day; null for what the plan leaves. */
export function threshold<T>(text: string, detector: string, on_above_db: number, real_per_d: number | null, signal?: AbortSignal): Promise<T> {
  return ask("/api/threshold", send("POST", { text, detector, on_above_db, ...(real_per_d === null ? {} : { real_per_d }) }, signal));
}

/**
 * Starts long work and follows it to its end. The promise gives the document; `stop` of the signal cancels on the server
 * as well, and rejects with an AbortError.
 */
export async function job<T>(
  kind: string,
  text: string,
  wish: Record<string, unknown>,
  tell: (progress: Progress) => void,
  signal: AbortSignal,
): Promise<{ id: string; result: T }> {
  const path = kind === "listen" ? "/api/listen" : "/api/jobs";
  const body = kind === "listen" ? { text, ...wish } : { kind, text, ask: wish };
  const started = await ask<{ job: number }>(path, send("POST", body));
  const id = String(started.job);
  const of = {
    id: started.job,
    look: () => ask<Now<T>>(`/api/jobs/${id}`),
    stop: () => void fetch(`/api/jobs/${id}`, { method: "DELETE", credentials: "same-origin" }).catch(() => undefined),
  };
  const now = await followed(of, stream, tell, signal);
  if (now.state === "done") return { id, result: now.result };
  if (now.state === "failed") throw new Refused(422, now.error?.code ?? "failed", now.error?.message ?? "the work failed", now.error?.help ?? null, now);
  throw new DOMException("stopped", "AbortError");
}

/** Forgets a job that is over, with its records. */
export const forgetJob = (id: string): void => void fetch(`/api/jobs/${id}`, { method: "DELETE", credentials: "same-origin" }).catch(() => undefined);

export const part = <T>(path: string): Promise<T> => ask(path);

/** The mistakes of a 422 answer, where it has some. */
export function mistakesOf(fault: unknown): Mistake[] {
  if (!(fault instanceof Refused) || !isRecord(fault.body)) return [];
  const { mistakes } = fault.body;
  return Array.isArray(mistakes) ? (mistakes as Mistake[]) : [];
}

export function isStopped(fault: unknown): boolean {
  return fault instanceof DOMException && fault.name === "AbortError";
}

/** What went wrong and what to do, for people. */
export function words(fault: unknown): string {
  if (fault instanceof Refused) return fault.help === null ? fault.message : `${fault.message}. ${fault.help}`;
  return fault instanceof Error ? fault.message : String(fault);
}
