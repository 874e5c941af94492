import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { forget, keep, kept, sheetOf, sheetsKept } from "./keep.ts";

beforeEach(() => {
  const lies = new Map<string, string>();
  vi.stubGlobal("localStorage", {
    getItem: (key: string) => lies.get(key) ?? null,
    setItem: (key: string, value: string) => void lies.set(key, value),
    removeItem: (key: string) => void lies.delete(key),
    key: (i: number) => [...lies.keys()][i] ?? null,
    get length() {
      return lies.size;
    },
  });
});
afterEach(() => vi.unstubAllGlobals());

test("verif_ the text of one plan is neither offered to another nor lost by it", () => {
  const at = new Date("2027-04-02T06:00:00Z");
  expect(keep("a", "text of a", "base of a", at)).toBe(true);
  expect(kept("b")).toBe(null);
  keep("b", "text of b", "base of b", at);
  forget("b");
  expect(kept("b")).toBe(null);
  expect(kept("a")).toEqual({ text: "text of a", at: "2027-04-02T06:00:00.000Z", base: "base of a" });
});

test("verif_ what does not say from which file it was written is not offered", () => {
  localStorage.setItem("soundline.unsaved.a", JSON.stringify({ text: "text", at: "2027-04-02T06:00:00Z" }));
  expect(kept("a")).toBe(null);
  localStorage.setItem("soundline.unsaved.a", "{");
  expect(kept("a")).toBe(null);
});

test("verif_ storage that is full or forbidden is told", () => {
  vi.stubGlobal("localStorage", { setItem: () => { throw new Error("full"); } });
  expect(keep("a", "text", "base")).toBe(false);
});

test("verif_ cue sheets are kept beside the plan's text, and found by their plan alone", () => {
  keep("a", "plan", "base");
  keep(sheetOf("a", "cues/night.toml"), "night", "base of night");
  keep(sheetOf("a", "cues/calm.toml"), "calm", "");
  keep(sheetOf("ab", "cues/other.toml"), "other", "");
  expect(sheetsKept("a")).toEqual(["cues/calm.toml", "cues/night.toml"]);
  forget("a");
  expect(kept(sheetOf("a", "cues/night.toml"))?.text).toBe("night");
  forget(sheetOf("a", "cues/night.toml"));
  expect(sheetsKept("a")).toEqual(["cues/calm.toml"]);
});
