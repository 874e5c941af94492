// A tolerant look at the text of a plan: which key stands where. It serves completion and the fields of the page; what the
// plan means is decided by the server alone.

/** A key with its value as written. */
export interface Written {
  /** Its keys, and places in lists as `[0]`. */
  path: string[];
  from: number;
  to: number;
  valueFrom: number;
  valueTo: number;
  raw: string;
}

export interface Header {
  path: string[];
  from: number;
  to: number;
  /** Where the next header begins, or the text ends. */
  end: number;
}

export interface Scan {
  headers: Header[];
  written: Written[];
}

const BARE = /[A-Za-z0-9_-]/;

class Reader {
  readonly text: string;
  at = 0;
  readonly scan: Scan = { headers: [], written: [] };

  constructor(text: string) {
    this.text = text;
  }

  get here(): string {
    return this.text[this.at] ?? "";
  }

  blank(lines: boolean): void {
    for (;;) {
      const c = this.here;
      if (c === " " || c === "\t" || (lines && (c === "\n" || c === "\r"))) this.at += 1;
      else if (c === "#") {
        const end = this.text.indexOf("\n", this.at);
        this.at = end < 0 ? this.text.length : end;
        if (!lines) return;
      } else return;
    }
  }

  toLineEnd(): void {
    const end = this.text.indexOf("\n", this.at);
    this.at = end < 0 ? this.text.length : end + 1;
  }

  string(): string {
    const quote = this.here;
    const triple = this.text.startsWith(quote.repeat(3), this.at);
    const close = triple ? quote.repeat(3) : quote;
    const begin = this.at + close.length;
    let i = begin;
    while (i < this.text.length && !this.text.startsWith(close, i)) {
      if (!triple && this.text[i] === "\n") break;
      i += quote === '"' && this.text[i] === "\\" ? 2 : 1;
    }
    const inside = this.text.slice(begin, i);
    this.at = Math.min(this.text.length, this.text.startsWith(close, i) ? i + close.length : i);
    return inside;
  }

  /** A dotted key; null where none stands. */
  key(): string[] | null {
    const path: string[] = [];
    for (;;) {
      this.blank(false);
      if (this.here === '"' || this.here === "'") path.push(this.string());
      else {
        const begin = this.at;
        while (BARE.test(this.here)) this.at += 1;
        if (this.at === begin) return path.length > 0 ? path : null;
        path.push(this.text.slice(begin, this.at));
      }
      this.blank(false);
      if (this.here !== ".") return path;
      this.at += 1;
    }
  }

  value(path: string[]): void {
    const c = this.here;
    if (c === '"' || c === "'") {
      this.string();
    } else if (c === "[") {
      this.at += 1;
      let index = 0;
      for (;;) {
        this.blank(true);
        if (this.here === "]" || this.here === "") break;
        const before = this.at;
        this.value([...path, `[${index}]`]);
        index += 1;
        this.blank(true);
        if (this.here === ",") this.at += 1;
        else if (this.here !== "]" && this.at === before) this.at += 1;
        if (this.runsAway()) return;
      }
      if (this.here === "]") this.at += 1;
    } else if (c === "{") {
      this.at += 1;
      for (;;) {
        this.blank(true);
        if (this.here === "}" || this.here === "") break;
        const before = this.at;
        this.pair(path);
        this.blank(true);
        if (this.here === ",") this.at += 1;
        else if (this.here !== "}" && this.at === before) this.at += 1;
        if (this.runsAway()) return;
      }
      if (this.here === "}") this.at += 1;
    } else {
      while (this.here !== "" && !/[,\]}\n#]/.test(this.here)) this.at += 1;
    }
  }

  /** A bracket that was never closed ends where the next table begins. */
  runsAway(): boolean {
    return /\n\[[A-Za-z"]/.test(this.text.slice(this.at - 1, this.at + 2));
  }

  pair(base: string[]): void {
    const from = this.at;
    const key = this.key();
    if (key === null) return;
    const to = this.at;
    this.blank(false);
    if (this.here !== "=") return;
    this.at += 1;
    this.blank(false);
    const valueFrom = this.at;
    const path = [...base, ...key];
    const slot = this.scan.written.length;
    this.value(path);
    let valueTo = this.at;
    while (valueTo > valueFrom && /\s/.test(this.text[valueTo - 1] ?? "")) valueTo -= 1;
    this.scan.written.splice(slot, 0, { path, from, to, valueFrom, valueTo, raw: this.text.slice(valueFrom, valueTo) });
  }

  all(): Scan {
    let base: string[] = [];
    while (this.at < this.text.length) {
      this.blank(true);
      if (this.here === "") break;
      if (this.here === "[") {
        const from = this.at;
        while (this.here === "[") this.at += 1;
        base = this.key() ?? [];
        while (this.here === "]") this.at += 1;
        this.scan.headers.push({ path: base, from, to: this.at, end: this.text.length });
        this.toLineEnd();
      } else {
        const before = this.at;
        this.pair(base);
        // A value that ran into the next table has already left its own line.
        const next = this.here === "[" && this.text[this.at - 1] === "\n";
        if (!next && (this.at === before || !/[\n\r#]|^$/.test(this.here))) this.toLineEnd();
      }
    }
    this.scan.headers.forEach((header, i) => {
      header.end = this.scan.headers[i + 1]?.from ?? this.text.length;
    });
    return this.scan;
  }
}

export function scan(text: string): Scan {
  return new Reader(text).all();
}

/** Parts of a path such as `topic."alert/call".at_most` or `detector.up.stages[2].hold_off`. */
export function parts(path: string): string[] {
  const found: string[] = [];
  for (const piece of path.matchAll(/"([^"]*)"|(\[\d+\])|([^.[\]"]+)/g)) found.push(piece[1] ?? piece[2] ?? piece[3] ?? "");
  return found;
}

export function join(path: readonly string[]): string {
  const place = /^\[\d+\]$/;
  return path.map((piece, i) => (place.test(piece) ? piece : `${i === 0 ? "" : "."}${/^[A-Za-z0-9_-]+$/.test(piece) ? piece : `"${piece}"`}`)).join("");
}

const same = (a: readonly string[], b: readonly string[]): boolean => a.length === b.length && a.every((piece, i) => piece === b[i]);

/** The value written at a path; null where the plan does not write it. */
export function writtenAt(found: Scan, path: string): Written | null {
  const wanted = parts(path);
  return found.written.find((one) => same(one.path, wanted)) ?? null;
}

/** Where a thing such as `span.riser` is written: its table, or its key in another. */
export function placeOf(found: Scan, path: string): { from: number; to: number } | null {
  const wanted = parts(path);
  const header = found.headers.find((one) => same(one.path, wanted));
  if (header !== undefined) return { from: header.from, to: header.to };
  const key = found.written.find((one) => same(one.path, wanted));
  if (key !== undefined) return { from: key.from, to: key.valueTo };
  const below = found.written.find((one) => one.path.length > wanted.length && same(one.path.slice(0, wanted.length), wanted));
  return below === undefined ? null : { from: below.from, to: below.valueTo };
}

/** Ids of all tables of a kind, sorted: `module` gives `module.buoy` and so on. */
export function idsOf(found: Scan, kind: string): string[] {
  const ids = new Set<string>();
  for (const { path } of [...found.headers, ...found.written]) {
    if (path[0] === kind && path[1] !== undefined) ids.add(join([kind, path[1]]));
  }
  return [...ids].sort();
}

/** Puts another number in front of what is written, so that unit and spread stay: `"0.42 W ± 10 %"` and 0.5 give `0.5 W ± 10 %`. */
export function withNumber(raw: string, value: string, unit: string): string {
  const inside = raw.replace(/^["']|["']$/g, "");
  const found = /^\s*[-+]?\d[\d_]*(?:\.\d+)?(?:[eE][-+]?\d+)?/.exec(inside);
  if (found === null) return `${value} ${unit}`;
  const rest = inside.slice(found[0].length);
  return rest.trim() === "" ? `${value} ${unit}` : `${value}${rest}`;
}
