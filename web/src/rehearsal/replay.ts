import type { Drawing, TraceRecord } from "../documents.ts";

// What the line shows at an instant of a rehearsal, from its records alone.

export interface Instant {
  /** Things that shine, with what happens there. */
  lit: Map<string, string>;
  down: Set<string>;
  voltages_v: Map<string, number>;
  outputs: Map<string, string>;
}

const SECOND_NS = 1e9;

const text = (record: TraceRecord, key: string): string | null => {
  const value = record[key];
  return typeof value === "string" ? value : null;
};

/** Things that a record is about, as the drawing names them. */
export function places(record: TraceRecord, sensorOf: ReadonlyMap<string, string>): string[] {
  const found: string[] = [];
  for (const key of ["sensor", "module", "span", "output", "uplink", "to", "of"]) {
    const value = text(record, key);
    if (value === null || !/^(module|span|uplink|supply|bus)\./.test(value)) continue;
    if (record.what === "crossed" && key === "to") continue;
    found.push(value);
  }
  const detector = text(record, "detector");
  const sensor = detector === null ? undefined : sensorOf.get(detector);
  if (sensor !== undefined) found.push(sensor);
  const fault = /: ([a-z]+\.[\w.-]+)/.exec(text(record, "fault") ?? "")?.[1];
  if (fault !== undefined) found.push(fault);
  // A module shines with its sensors and outputs.
  for (const path of [...found]) {
    const module = /^module\.[^.]+/.exec(path)?.[0];
    if (module !== undefined && !found.includes(module)) found.push(module);
  }
  return found;
}

/** Sentence of a record. */
export function tell(record: TraceRecord): string {
  const of = (key: string): string => text(record, key) ?? String(record[key] ?? "");
  switch (record.what) {
    case "settled":
      return "voltages settle";
    case "hears":
      return `${of("detector")} hears`;
    case "deaf":
      return `${of("detector")} hears no more`;
    case "arrives":
      return `${of("arriving")} reaches ${of("sensor")}`;
    case "notice":
      return `${of("detector")}: ${of("notice")}`;
    case "event":
      return `${of("detector")}: the event is whole`;
    case "started":
      return `${of("behaviour")} starts`;
    case "refused":
      return `${of("behaviour")} is refused: ${of("why")}`;
    case "entered":
      return `${of("module")} goes to ${of("state")}`;
    case "published":
      return `${of("module")} publishes ${of("topic")}`;
    case "crossed":
      return `message ${of("message")} crosses ${of("span")} to ${of("to")}`;
    case "delivered":
      return `${of("module")} is told ${of("topic")}`;
    case "switched":
      return `${of("output")} is ${of("to")}`;
    case "stays":
      return `${of("output")} stays ${of("at")}`;
    case "logged":
      return `${of("module")} logs “${of("text")}”`;
    case "queued":
      return `${of("uplink")} takes message ${of("message")}`;
    case "attempt":
      return `${of("uplink")} tries message ${of("message")}`;
    case "sent":
      return `${of("uplink")}: message ${of("message")} is ashore`;
    case "fault-begins":
      return of("fault");
    case "fault-ends":
      return `${of("fault")}: over`;
    case "down":
      return `${of("module")} goes down`;
    case "up":
      return `${of("module")} is up again`;
    default: {
      const about = ["module", "detector", "behaviour", "output", "uplink", "topic", "span", "why"].map((key) => text(record, key)).filter((word) => word !== null);
      return `${record.what.replaceAll("-", " ")}${about.length > 0 ? `: ${about.join(", ")}` : ""}`;
    }
  }
}

/** What people look for; the rest are steps on the way. */
export function matters(record: TraceRecord): boolean {
  return !["settled", "crossed", "entered", "attempt", "started", "hears", "stays", "queued"].includes(record.what);
}

/** Records whose time is at most `at_ns`, by halving. */
export function until(records: readonly TraceRecord[], at_ns: number): number {
  let low = 0;
  let high = records.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((records[middle]?.at_ns ?? Infinity) <= at_ns) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** The line at an instant; what happened within the last `hold_s` still shines. */
export function instant(records: readonly TraceRecord[], at_s: number, hold_s: number, sensorOf: ReadonlyMap<string, string>): Instant {
  const at_ns = at_s * SECOND_NS;
  const now: Instant = { lit: new Map(), down: new Set(), voltages_v: new Map(), outputs: new Map() };
  const count = until(records, at_ns + 0.5);
  for (let i = 0; i < count; i += 1) {
    const record = records[i];
    if (record === undefined) continue;
    if (record.what === "settled" && typeof record["voltages_v"] === "object" && record["voltages_v"] !== null) {
      for (const [module, volts] of Object.entries(record["voltages_v"] as Record<string, number>)) now.voltages_v.set(module, volts);
    } else if (record.what === "switched") {
      now.outputs.set(text(record, "output") ?? "", text(record, "to") ?? "");
    } else if (record.what === "down") {
      now.down.add(text(record, "module") ?? "");
    } else if (record.what === "up" || record.what === "booted") {
      now.down.delete(text(record, "module") ?? "");
    }
    if (at_ns - record.at_ns <= hold_s * SECOND_NS && record.what !== "settled") for (const path of places(record, sensorOf)) now.lit.set(path, tell(record));
  }
  for (const [output, to] of now.outputs) if (to === "on") now.lit.set(output, `${output} is on`);
  return now;
}

/** The sensor on which each detector listens, as the plan's text writes it. */
export function sensorsOf(written: readonly { path: string[]; raw: string }[]): Map<string, string> {
  const found = new Map<string, string>();
  for (const { path, raw } of written) if (path.length === 3 && path[0] === "detector" && path[2] === "on") found.set(`detector.${path[1]}`, raw.replaceAll('"', ""));
  return found;
}

export interface FaultChoice {
  kind: string;
  of: string;
  more: string;
  words: string;
}

/** Faults that can be put on a thing with a click. */
export function faultsOf(drawing: Drawing, path: string): FaultChoice[] {
  if (path.startsWith("span.")) return [{ kind: "cut", of: path, more: "", words: `cut ${path}` }];
  const found: FaultChoice[] = [];
  if (path.startsWith("module.")) {
    found.push({ kind: "dead", of: path, more: "", words: `${path} is dead` });
    found.push({ kind: "hang", of: path, more: "", words: `${path} hangs` });
    found.push({ kind: "restart", of: path, more: 'by = "power"\n', words: `${path} restarts` });
  }
  for (const one of drawing.uplinks) if (one.module === path) found.push({ kind: "no-uplink", of: one.path, more: "", words: `${one.path} cannot be reached` });
  for (const one of drawing.supplies) if (one.module === path) found.push({ kind: "no-supply", of: one.path, more: "", words: `${one.path} gives nothing` });
  return found;
}

/** The cue sheet with a fault more, under an id that it does not have yet. */
export function withFault(sheet: string, fault: FaultChoice, at_s: number, lasts_s: number | null): string {
  let n = 1;
  while (sheet.includes(`[fault.page-${n}]`)) n += 1;
  const at = Math.round(at_s * 10) / 10;
  // A restart is over by itself.
  const until_ = lasts_s === null || fault.kind === "restart" ? "" : `until = "${Math.round((at + lasts_s) * 10) / 10} s"\n`;
  return `${sheet.replace(/\n*$/, "\n")}\n[fault.page-${n}]\nkind = "${fault.kind}"\nof = "${fault.of}"\nat = "${at} s"\n${until_}${fault.more}`;
}
