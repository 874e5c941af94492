import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, BrowserContext, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, launch, open, serious, sheetText, wav } from "./desk.ts";

let browser: Browser;
let context: BrowserContext;
let page: Page;
let server: Server;

/** A few seconds in which nothing is expected but power. */
const SHORT = `format = 1
[rehearsal]
name = "Calm"
duration = "4 s"
seed = 7
wind = "4 m/s"
[expect.up]
that = "voltage"
of = "module.buoy"
at_least = "1 V"
from = "1 s"
until = "3 s"
`;
const PLAYED = `${SHORT}[sound.call]
kind = "recording"
at = "1 s"
file = "own.wav"
source_level = "150 dB re 1 uPa m"
track = [{ range = "1.2 km", bearing = "80 deg", depth = "15 m" }]
`;

const onDisk = (name: string): string => readFileSync(join(server.folder, "cues", name), "utf8");

async function visit(): Promise<void> {
  page = await context.newPage();
  page.setDefaultTimeout(30_000);
  await open(page, server);
  await page.keyboard.press("Alt+6");
  await page.locator("#cue-sheet").waitFor();
}

async function pick(name: string, holds: string): Promise<void> {
  await page.locator("#cue-sheet").selectOption(`cues/${name}`);
  const writes = page.locator("button", { hasText: /^Write$/ });
  if ((await writes.getAttribute("aria-pressed")) === "false") await writes.click();
  await expect.poll(() => sheetText(page)).toContain(holds);
}

/** Puts a line at the end of the sheet as a person does. */
async function append(line: string): Promise<void> {
  await page.locator("#sheet-text .cm-content").focus();
  await page.keyboard.press("Control+End");
  await page.keyboard.insertText(`${line}\n`);
  await page.locator("#sheet-mark", { hasText: "unsaved" }).waitFor();
}

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  server = new Server();
  writeFileSync(join(server.folder, "cues", "calm.toml"), SHORT);
  writeFileSync(join(server.folder, "cues", "played.toml"), PLAYED);
  writeFileSync(join(server.folder, "cues", "own.wav"), wav(2, 16000, 90, 150));
  await server.start();
  context = await browser.newContext({ viewport: { width: 1280, height: 720 } });
  await visit();
});
afterEach(async () => {
  await context.close();
  await server.end();
});

test("verif_ a changed sheet is rehearsed from its own folder, with its own recordings", async () => {
  await pick("played.toml", "own.wav");
  await append("# changed here");
  await page.locator("#rehearse:enabled").click();
  await page.locator("#outcome", { hasText: "1 of 1" }).waitFor({ timeout: 60_000 });
  expect(onDisk("played.toml")).toBe(PLAYED);
});

test("verif_ a written sheet outlives looking at another, leaving the page, and closing it, and is saved", async () => {
  await pick("calm.toml", "Calm");
  await append("# first");
  await pick("ferry-night.toml", "Ferry night");
  await pick("calm.toml", "# first");
  expect(onDisk("calm.toml")).toBe(SHORT);
  // Leaving asks first.
  const asked = page.waitForEvent("dialog");
  const left = page.reload();
  const dialog = await asked;
  expect(dialog.type()).toBe("beforeunload");
  await dialog.accept();
  await left;
  await page.waitForSelector("#drawing");
  await page.keyboard.press("Alt+6");
  await pick("calm.toml", "Calm");
  await page.locator("#sheet-found button", { hasText: "Bring it back" }).click();
  await expect.poll(() => sheetText(page)).toBe(`${SHORT}# first\n`);
  expect(await page.locator("#sheet-conflict").count()).toBe(0);
  await page.locator("#sheet-text .cm-content").press("Control+s");
  await page.locator("#sheet-mark", { hasText: /^saved$/ }).waitFor();
  expect(onDisk("calm.toml")).toBe(`${SHORT}# first\n`);
  // Nothing is left to be asked for.
  await page.reload();
  await page.waitForSelector("#drawing");
  await page.keyboard.press("Alt+6");
  await pick("calm.toml", "# first");
  expect(await page.locator("#sheet-found").count()).toBe(0);
});

test("verif_ a sheet that was written elsewhere is shown as a difference and not overwritten", async () => {
  await pick("calm.toml", "Calm");
  await append("# mine");
  const theirs = SHORT.replace("Calm", "Rough");
  writeFileSync(join(server.folder, "cues", "calm.toml"), theirs);
  await page.locator("#save-sheet").click();
  const conflict = page.locator("#sheet-conflict");
  await conflict.waitFor();
  const told = await conflict.textContent();
  expect(told).toContain("# mine");
  expect(told).toContain("Rough");
  expect(onDisk("calm.toml")).toBe(theirs);
  await conflict.locator("button", { hasText: "Take the file's text" }).click();
  await expect.poll(() => sheetText(page)).toBe(theirs);
  await page.locator("button", { hasText: "Bring mine back" }).click();
  await page.locator("#save-sheet:enabled").click();
  await page.locator("#sheet-mark", { hasText: /^saved$/ }).waitFor();
  expect(onDisk("calm.toml")).toBe(`${SHORT}# mine\n`);
});

test("verif_ a new sheet begins in no file, is saved into one and is found there", async () => {
  await page.locator("button", { hasText: "New sheet" }).click();
  await page.locator("#new-sheet").fill("own/first");
  await page.locator("button", { hasText: "Begin" }).click();
  await page.locator("#sheet-mark", { hasText: "unsaved" }).waitFor();
  await page.locator("#rehearse:enabled").click();
  await page.locator("#outcome").waitFor({ timeout: 60_000 });
  expect(existsSync(join(server.folder, "own"))).toBe(false);
  await page.locator("#save-sheet").click();
  await page.locator("#sheet-mark", { hasText: /^saved$/ }).waitFor();
  const text = readFileSync(join(server.folder, "own", "first.toml"), "utf8");
  expect(text).toBe(await sheetText(page));
  await page.reload();
  await page.waitForSelector("#drawing");
  await page.keyboard.press("Alt+6");
  await page.locator("#cue-sheet").selectOption("own/first.toml");
  await page.locator("#sheet-mark", { hasText: /^saved$/ }).waitFor();
});

test("verif_ what is wrong with a sheet is underlined while it is written, is told with its line, and leads there by keys", async () => {
  await pick("calm.toml", "Calm");
  await append('[fault.cut]\nkind = "cut"\nof = "span.nowhere"\nat = "2 kg"');
  const under = page.locator("#sheet-text .cm-lintRange-error");
  await expect.poll(() => under.allTextContents()).toEqual(expect.arrayContaining([expect.stringContaining("span.nowhere")]));
  const told = page.locator("#sheet-wrong button");
  await expect.poll(() => told.allTextContents()).toEqual(expect.arrayContaining([expect.stringMatching(/line 15: .*span\.nowhere/s)]));
  await told.filter({ hasText: "line 15" }).focus();
  await page.keyboard.press("Enter");
  expect(await page.locator("#sheet-text .cm-activeLine").textContent()).toBe('of = "span.nowhere"');
  expect(await serious(page, ".middle")).toEqual([]);
  // Mended, nothing is underlined; the text above it is what it was.
  await page.keyboard.press("Home");
  await page.keyboard.press("Shift+End");
  await page.keyboard.insertText('of = "span.upper-probe"');
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("Home");
  await page.keyboard.press("Shift+End");
  await page.keyboard.insertText('at = "2 s"');
  await expect.poll(() => under.count()).toBe(0);
  await page.locator("#sheet-wrong").waitFor({ state: "detached" });
  // The plan's own text has lines and mistakes of its own.
  expect(await page.locator("#editor .cm-lintRange-error").count()).toBe(0);
});

test("verif_ a sheet is undone step by step, also after another was looked at, and its keys complete from its schema and the plan", async () => {
  await pick("calm.toml", "Calm");
  await append("# first");
  await pick("ferry-night.toml", "Ferry night");
  await pick("calm.toml", "# first");
  await page.locator("#sheet-text .cm-content").focus();
  await page.keyboard.press("Control+z");
  await page.locator("#sheet-mark", { hasText: /^saved$/ }).waitFor();
  expect(await sheetText(page)).toBe(SHORT);
  expect(await page.locator("#saved-mark").textContent()).toBe("saved");
  await page.keyboard.press("Control+End");
  await page.keyboard.insertText("[fault.cut]\nkind = ");
  await page.keyboard.press("Control+Space");
  const offers = page.locator("#sheet-text .cm-tooltip-autocomplete");
  await expect.poll(() => offers.textContent()).toContain("no-uplink");
  await page.keyboard.press("Escape");
  // Escape, then Tab, leaves the text.
  await page.keyboard.press("Escape");
  await page.keyboard.press("Tab");
  expect(await page.evaluate(() => document.activeElement?.id)).not.toBe("sheet-text");
});
