import type { JsonSchema } from "../api.ts";
import { idsOf, join, scan, type Scan } from "./scan.ts";
import { keys, values } from "./schema.ts";

/** What can be put in at a place of the text. */
export interface Offer {
  from: number;
  kind: "key" | "value" | "table";
  words: { word: string; about: string; insert: string }[];
}

/** The innermost table around a place: that of its header, or an inline one, by its index where it stands in an array. */
function around(found: Scan, text: string, pos: number): string[] {
  let base: string[] = [];
  for (const header of found.headers) if (header.to <= pos) base = header.path;
  let best = base;
  let width = Infinity;
  let array: number | null = null;
  for (const one of found.written) {
    if (one.valueFrom < pos && pos <= one.valueTo && /^[[{]/.test(one.raw) && one.valueTo - one.valueFrom < width) {
      // A place behind the closing bracket is outside.
      if (pos === one.valueTo && /[\]}]$/.test(one.raw)) continue;
      best = one.path;
      width = one.valueTo - one.valueFrom;
      array = one.raw.startsWith("[") ? one.valueFrom : null;
    }
  }
  return array === null ? best : [...best, `[${indexIn(text, array, pos)}]`];
}

function indexIn(text: string, from: number, pos: number): number {
  let depth = 0;
  let index = 0;
  let quoted = false;
  for (const c of text.slice(from + 1, pos)) {
    if (c === '"') quoted = !quoted;
    if (quoted) continue;
    if (c === "[" || c === "{") depth += 1;
    else if (c === "]" || c === "}") depth -= 1;
    else if (c === "," && depth === 0) index += 1;
  }
  return index;
}

/** Ids that exist in these texts, for a value whose schema speaks of one kind of thing, as `bus.ID`. */
function references(texts: readonly Scan[], words: readonly string[], about: string): string[] {
  const kinds = new Set<string>();
  for (const word of words) {
    const kind = /^"([a-z_-]+)\.ID/.exec(word)?.[1];
    if (kind !== undefined) kinds.add(kind);
  }
  for (const kind of about.matchAll(/`([a-z_-]+)\.ID/g)) if (kind[1] !== undefined) kinds.add(kind[1]);
  const ids = [...kinds].flatMap((kind) => texts.flatMap((text) => idsOf(text, kind)));
  return [...new Set(ids)].map((id) => `"${id.replaceAll('"', '\\"')}"`);
}

/** `others`: a text whose things may be named here, too, as those of the plan in a cue sheet. */
export function complete(root: JsonSchema, text: string, pos: number, others = ""): Offer | null {
  const lineFrom = text.lastIndexOf("\n", pos - 1) + 1;
  const before = text.slice(lineFrom, pos);
  if (before.includes("#") && !/"[^"]*#/.test(before)) return null;
  const found = scan(text);

  const header = /^\s*\[+([\w."/-]*)$/.exec(before);
  if (header !== null) {
    const typed = header[1] ?? "";
    const dot = typed.lastIndexOf(".");
    const path = dot < 0 ? [] : typed.slice(0, dot).split(".");
    const from = pos - (typed.length - dot - 1);
    return {
      from,
      kind: "table",
      words: keys(root, path).map(({ word, about }) => ({ word, about, insert: word })),
    };
  }

  const value = /(?:^|[{,]\s*|^\s*)([\w."/-]+)\s*=\s*("[^"\n]*|[\w.+-]*)$/.exec(before);
  if (value !== null) {
    const typed = value[2] ?? "";
    const path = [...around(found, text, pos - typed.length), ...(value[1] ?? "").split(".").map((piece) => piece.replaceAll('"', ""))];
    const told = values(root, path);
    const refs = references(others === "" ? [found] : [found, scan(others)], told.words, told.about);
    const words = refs.length > 0 ? refs : told.words.filter((word) => !/\bID\b/.test(word));
    return {
      from: pos - typed.length,
      kind: "value",
      words: words.map((word) => ({ word, about: told.closed || refs.length > 0 ? "" : `an example: ${told.about}`, insert: word })),
    };
  }

  const key = /(?:^|[{,])\s*([\w-]*)$/.exec(before);
  if (key === null) return null;
  const typed = key[1] ?? "";
  const path = around(found, text, pos);
  const there = new Set(
    found.written.filter((one) => join(one.path.slice(0, -1)) === join(path) && one.to !== pos).map((one) => one.path.at(-1)),
  );
  return {
    from: pos - typed.length,
    kind: "key",
    words: keys(root, path)
      .filter(({ word }) => !there.has(word))
      .map(({ word, about }) => ({ word, about, insert: `${word} = ` })),
  };
}
