import { mkdirSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, BrowserContext, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, digest, launch, moved, open, settled, toTheBeginning, type } from "./desk.ts";

let browser: Browser;
let context: BrowserContext;
let server: Server;

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  context = await browser.newContext({ viewport: { width: 1280, height: 720 } });
});
afterEach(async () => {
  await context.close();
  await server.end();
});

async function serve(plan?: string, before: (server: Server) => void = () => undefined): Promise<void> {
  server = new Server(plan);
  before(server);
  await server.start();
}

async function visit(): Promise<Page> {
  const page = await context.newPage();
  page.setDefaultTimeout(30_000);
  await open(page, server);
  return page;
}

test("verif_ while one types on, the margins follow, though each check takes longer than the next key", async () => {
  await serve();
  const page = await visit();
  await page.route("**/api/consequences", async (route) => {
    const answer = await route.fetch();
    await new Promise((later) => setTimeout(later, 200));
    await route.fulfill({ response: answer });
  });
  await toTheBeginning(page);
  await page.keyboard.insertText("# ");
  await settled(page);
  await page.evaluate(() => {
    const seen = new Set<string>();
    (window as unknown as { seen: Set<string> }).seen = seen;
    new MutationObserver(() => seen.add(document.documentElement.dataset["digest"] ?? "")).observe(document.documentElement, { attributes: true });
  });
  // Keys come without a rest: none of the texts stands for as long as a check takes.
  for (let n = 0; n < 60; n += 1) await page.keyboard.type("x", { delay: 20 });
  const seen = await page.evaluate(() => (window as unknown as { seen: Set<string> }).seen.size);
  expect(seen).toBeGreaterThan(2);
  // In the end it is the last text that is shown.
  await settled(page);
  await expect.poll(() => page.locator("#tier").textContent()).toContain("full check");
});

test("verif_ seven pages of one browser all save, and all hear of it", async () => {
  await serve();
  const pages: Page[] = [];
  for (let n = 0; n < 7; n += 1) pages.push(await visit());
  const last = pages[6];
  if (last === undefined) throw new Error("no page");
  await type(last, 'length = "92 m"', 'length = "93 m"');
  await last.keyboard.press("Control+s");
  await last.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
  expect(server.text).toContain('length = "93 m"');
  for (const page of pages.slice(0, 6)) await page.locator("#told", { hasText: "changed on the disk" }).waitFor();
});

test("verif_ long work holds no connection: while four jobs run, the plan is checked and saved", async () => {
  await serve();
  const pages: Page[] = [];
  for (let n = 0; n < 4; n += 1) pages.push(await visit());
  const streams: string[] = [];
  for (const page of pages) {
    page.on("request", (request) => {
      if (request.url().endsWith("/events")) streams.push(request.url());
    });
    await page.locator("button", { hasText: "Draw the spreads" }).click();
  }
  const first = pages[0];
  if (first === undefined) throw new Error("no page");
  await type(first, 'length = "92 m"', 'length = "93 m"');
  await first.keyboard.press("Control+s");
  await first.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
  expect(streams).toEqual([]);
  for (const page of pages) await page.locator("#margins footer button", { hasText: "Stop" }).click();
  for (const page of pages) await page.locator("button", { hasText: "Draw the spreads" }).waitFor();
});

test("verif_ a document is asked for once, and is not called by the name of another wish", async () => {
  await serve("silt-hollow");
  const page = await visit();
  let asked = 0;
  let hold = false;
  await page.route("**/api/document/paths", async (route) => {
    asked += 1;
    if (hold) {
      await new Promise((later) => setTimeout(later, 1500));
      await route.fulfill({ status: 422, json: { error: { code: "cannot-be", message: "no way is known", help: null } } });
    } else await route.continue();
  });
  await page.keyboard.press("Alt+3");
  await page.locator("button", { hasText: "Shadows" }).click();
  const heading = page.locator("#shadows-at");
  await heading.waitFor({ timeout: 120_000 });
  const before = await heading.textContent();
  // Twice as long as a changed wish waits.
  await page.waitForTimeout(1200);
  expect(asked).toBe(1);
  hold = true;
  await page.locator("label", { hasText: "Sound at a depth of" }).locator("input").fill("7 m");
  const view = page.locator(".view");
  await expect.poll(() => view.textContent()).toContain("asked for before");
  expect(await heading.textContent()).toBe(before);
  await expect.poll(() => view.textContent(), { timeout: 20_000 }).toContain("no way is known");
  expect(await view.textContent()).toContain("asked for before");
  expect(await view.textContent()).not.toContain("older text");
});

test("verif_ a mistake of a catalogue is told by its file and underlined nowhere in the plan", async () => {
  await serve(undefined, (one) => {
    mkdirSync(join(one.folder, "sub"));
    writeFileSync(join(one.folder, "sub", "plan.toml"), 'format = 1\n[part.odd]\nis = "module"\nmoon = 1\n');
    writeFileSync(one.plan, one.text.replace('"parts.toml"', '"parts.toml", "sub/plan.toml"'));
  });
  const page = await context.newPage();
  await page.goto(server.url);
  await page.locator("#mistakes", { hasText: "sub/plan.toml line 4" }).waitFor();
  await settled(page);
  expect(await page.locator(".cm-lintRange-error").count()).toBe(0);
  // One of the plan itself still is.
  await type(page, 'water_depth = "85 m"', 'water_depth = "85"');
  await page.waitForSelector(".cm-lintRange-error");
});

test("verif_ a plan's file that goes away is told, and that it is back", async () => {
  await serve();
  const page = await visit();
  const away = join(server.folder, "away.toml");
  renameSync(server.plan, away);
  await page.locator("#gone").waitFor();
  expect(await page.locator("#saved-mark").textContent()).not.toBe("saved");
  renameSync(away, server.plan);
  await page.locator("#gone").waitFor({ state: "detached" });
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
});

test("verif_ a quantity within a list is set by its dial", async () => {
  await serve(undefined, (one) => {
    const calibrated = "sensor.ear.calibrated = { date = 2026-11-02";
    writeFileSync(one.plan, one.text.replace(calibrated, `sensor.ear.self_noise = [{ frequency = "100 Hz", level = "44 dB re 1 uPa2/Hz" }]\n${calibrated}`));
  });
  const page = await visit();
  await page.locator('[data-thing="module.upper"]').focus();
  await page.keyboard.press("Enter");
  const field = page.locator('#thing input[data-path*="["]').first();
  await field.waitFor();
  const path = await field.getAttribute("data-path");
  const was = await field.inputValue();
  const before = await digest(page);
  await field.fill(was.replace(/^[\d.]+/, (number) => String(Number(number) + 1)));
  await field.press("Enter");
  await moved(page, before);
  expect(await page.locator("#thing [role=alert]").count()).toBe(0);
  await expect.poll(() => page.locator(`#thing input[data-path="${path}"]`).inputValue()).not.toBe(was);
});
