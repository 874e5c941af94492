import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, BrowserContext, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, launch, open, wav } from "./desk.ts";

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
  await expect.poll(() => page.locator("#sheet-text").inputValue()).toContain(holds);
}

/** Puts a line at the end of the sheet as a person does. */
async function append(line: string): Promise<void> {
  await page.locator("#sheet-text").click();
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
  await expect.poll(() => page.locator("#sheet-text").inputValue()).toBe(`${SHORT}# first\n`);
  expect(await page.locator("#sheet-conflict").count()).toBe(0);
  await page.locator("#sheet-text").press("Control+s");
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
  await expect.poll(() => page.locator("#sheet-text").inputValue()).toBe(theirs);
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
  expect(text).toBe(await page.locator("#sheet-text").inputValue());
  await page.reload();
  await page.waitForSelector("#drawing");
  await page.keyboard.press("Alt+6");
  await page.locator("#cue-sheet").selectOption("own/first.toml");
  await page.locator("#sheet-mark", { hasText: /^saved$/ }).waitFor();
});
