import { expect, test } from "vitest";
import { edits } from "./edits.ts";

/** A text, and a server that answers when it is told to; it writes `path=value` at the end. */
function bench(): { text: { now: string }; set: (path: string, value: string) => Promise<void>; asked: string[]; answer: () => Promise<void> } {
  const text = { now: "a" };
  const asked: string[] = [];
  const waiting: (() => void)[] = [];
  const set = edits(
    { now: () => text.now, put: (next) => (text.now = next) },
    (of, path, value) =>
      new Promise((done, fail) => {
        asked.push(of);
        waiting.push(() => (path === "bad" ? fail(new Error("no such key")) : done({ text: `${of} ${path}=${value}` })));
      }),
  );
  const answer = async (): Promise<void> => {
    await expect.poll(() => waiting.length).toBeGreaterThan(0);
    waiting.shift()?.();
    await new Promise((later) => setTimeout(later));
  };
  return { text, set, asked, answer };
}

test("verif_ what is typed while an edit is out stays, and the edit comes on top of it", async () => {
  const { text, set, asked, answer } = bench();
  const done = set("k", "1");
  await expect.poll(() => asked.length).toBe(1);
  text.now = "a typed";
  await answer();
  expect(text.now).toBe("a typed");
  await answer();
  await done;
  expect(asked).toEqual(["a", "a typed"]);
  expect(text.now).toBe("a typed k=1");
});

test("verif_ two edits at once both stand, in the order in which they were made", async () => {
  const { text, set, answer } = bench();
  const both = [set("k", "1"), set("l", "2")];
  await answer();
  await answer();
  await Promise.all(both);
  expect(text.now).toBe("a k=1 l=2");
});

test("verif_ an edit that is refused says so and keeps none back", async () => {
  const { text, set, answer } = bench();
  const bad = set("bad", "1").catch(String);
  const good = set("k", "1");
  await answer();
  await answer();
  expect(await bad).toContain("no such key");
  await good;
  expect(text.now).toBe("a k=1");
});

test("verif_ a text that never rests is left alone, and the edit says that it was not written", async () => {
  const text = { now: 0 };
  const set = edits({ now: () => String(text.now), put: () => { throw new Error("put in over newer text"); } }, async (of) => {
    text.now += 1;
    return { text: of };
  });
  await expect(set("k", "1")).rejects.toThrow("not written");
});
