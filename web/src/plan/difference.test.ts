import { expect, test } from "vitest";
import { difference, hunks } from "./difference.ts";

const lines = (n: number): string[] => Array.from({ length: n }, (_, i) => `line ${i}`);

function both(mine: string, theirs: string, most?: number): void {
  const found = difference(mine, theirs, most);
  expect(found.filter(({ kind }) => kind !== "theirs").map(({ text }) => text).join("\n")).toBe(mine);
  expect(found.filter(({ kind }) => kind !== "mine").map(({ text }) => text).join("\n")).toBe(theirs);
}

test("verif_ either text can be had back from the difference", () => {
  const a = lines(30);
  const b = [...a.slice(0, 5), "new", ...a.slice(6, 20), ...a.slice(22), "end"];
  both(a.join("\n"), b.join("\n"));
  both(a.join("\n"), b.join("\n"), 2);
  both("", "a\nb");
  both("same", "same");
});

test("verif_ what both have stays one line, and far lines are left out", () => {
  const a = lines(40);
  const b = [...a];
  b[10] = "other";
  const found = difference(a.join("\n"), b.join("\n"));
  expect(found.filter(({ kind }) => kind !== "same").map(({ kind, text }) => [kind, text])).toEqual([["mine", "line 10"], ["theirs", "other"]]);
  expect(hunks(found, 1).map((line) => line?.text ?? "…")).toEqual(["line 9", "line 10", "other", "line 11"]);
});
