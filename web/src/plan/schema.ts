import type { JsonSchema } from "../api.ts";

/** The schema with its references followed and its `allOf` laid together, as far as completion needs it. */
export function open(root: JsonSchema, schema: JsonSchema): JsonSchema {
  let one = schema;
  if (one.$ref !== undefined) {
    const target = root.$defs?.[one.$ref.replace("#/$defs/", "")];
    if (target !== undefined) one = { ...open(root, target), ...one };
  }
  for (const more of one.allOf ?? []) one = { ...open(root, more), ...one };
  return one;
}

/** What may stand below a key; several where the schema leaves a choice. */
export function below(root: JsonSchema, schema: JsonSchema, key: string): JsonSchema[] {
  const here = open(root, schema);
  const found: JsonSchema[] = [];
  const own = here.properties?.[key];
  if (own !== undefined) found.push(own);
  else if (/^\[\d+\]$/.test(key) && here.items !== undefined) found.push(here.items);
  else if (typeof here.additionalProperties === "object") found.push(here.additionalProperties);
  for (const choice of [...(here.anyOf ?? []), ...(here.oneOf ?? [])]) found.push(...below(root, choice, key));
  return found;
}

export function at(root: JsonSchema, path: readonly string[]): JsonSchema[] {
  let now: JsonSchema[] = [root];
  for (const key of path) now = now.flatMap((schema) => below(root, schema, key));
  return now;
}

export interface Choice {
  word: string;
  about: string;
}

/** Keys that may stand in a table. */
export function keys(root: JsonSchema, path: readonly string[]): Choice[] {
  const found = new Map<string, Choice>();
  const collect = (schema: JsonSchema): void => {
    const here = open(root, schema);
    for (const [word, value] of Object.entries(here.properties ?? {})) {
      if (!found.has(word)) found.set(word, { word, about: open(root, value).description ?? "" });
    }
    for (const choice of [...(here.anyOf ?? []), ...(here.oneOf ?? [])]) collect(choice);
  };
  at(root, path).forEach(collect);
  return [...found.values()];
}

/** Values that the schema names: its closed choices, else its examples. */
export function values(root: JsonSchema, path: readonly string[]): { words: string[]; about: string; closed: boolean } {
  const words: string[] = [];
  let closed = false;
  let about = "";
  const collect = (schema: JsonSchema): void => {
    const here = open(root, schema);
    about ||= here.description ?? "";
    if (here.enum !== undefined || here.const !== undefined) closed = true;
    for (const value of [...(here.enum ?? []), ...(here.const === undefined ? [] : [here.const]), ...(here.examples ?? [])]) {
      const word = typeof value === "string" ? `"${value}"` : JSON.stringify(value);
      if (!words.includes(word)) words.push(word);
    }
    const kinds = Array.isArray(here.type) ? here.type : [here.type];
    if (kinds.includes("boolean")) words.push("true", "false");
    for (const choice of [...(here.anyOf ?? []), ...(here.oneOf ?? [])]) collect(choice);
  };
  at(root, path).forEach(collect);
  return { words, about, closed };
}
