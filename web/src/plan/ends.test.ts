import { expect, test } from "vitest";
import { linesOf, short, withEnds } from "./ends.ts";

test("verif_ a file with long line ends comes back to the byte", () => {
  const raw = '# µ 🐋\r\n[site]\r\nwater_depth = "85 m"\r\n\r\nlast = "x"';
  const { text, end, mixed } = linesOf(raw);
  expect(text).not.toContain("\r");
  expect(mixed).toBe(false);
  expect(withEnds(text, end)).toBe(raw);
});

test("verif_ a file with short line ends, and one without any, stays as it is", () => {
  for (const raw of ["a\nb\n", "a", ""]) {
    const { text, end, mixed } = linesOf(raw);
    expect([text, withEnds(text, end), mixed]).toEqual([raw, raw, false]);
  }
});

test("verif_ a file with both is told, and the greater number decides", () => {
  expect(linesOf("a\r\nb\r\nc\n")).toEqual({ text: "a\nb\nc\n", end: "\r\n", mixed: true });
  expect(linesOf("a\nb\nc\r\n")).toEqual({ text: "a\nb\nc\n", end: "\n", mixed: true });
  expect(short("a\rb")).toBe("a\nb");
});
