import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, digest, launch, moved, open, row, select, settled, toTheBeginning, type } from "./desk.ts";

let browser: Browser;
let server: Server;
let page: Page;

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  server = new Server();
  await server.start();
  page = await (await browser.newContext({ viewport: { width: 1280, height: 720 } })).newPage();
  page.setDefaultTimeout(40_000);
  await open(page, server);
});
afterEach(async () => {
  await page.context().close();
  await server.end();
});

interface Asked {
  text: string;
  tier: string;
  client: string;
}

test("verif_ a catalogue that changes beside the plan moves the margins", async () => {
  const parts = join(server.folder, "parts.toml");
  const text = readFileSync(parts, "utf8");
  // A mistake of the catalogue is the plan's, and goes with it.
  writeFileSync(parts, `${text}\n[part.broken]\nis = "nothing"\n`);
  await page.locator("#mistakes, .mistakes", { hasText: "nothing" }).first().waitFor();
  writeFileSync(parts, text);
  await page.locator("#mistakes, .mistakes", { hasText: "nothing" }).first().waitFor({ state: "detached" });
});

test("verif_ the preview of a remedy compares two full checks, whatever is shown", async () => {
  await type(page, 'at_least = "14 d"', 'at_least = "60 d"');
  await settled(page);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="broken"]')).waitFor();
  await row(page, "dark-weeks").locator("button.head").click();
  await page.locator('[data-remedies="dark-weeks"] > button').click();
  const preview = page.locator('[data-remedies="dark-weeks"] button', { hasText: "Preview" }).first();
  await preview.waitFor();
  // From here on the page gets no full check of its own.
  await page.route("**/api/consequences", async (route) => {
    const { tier, client } = route.request().postDataJSON() as Asked;
    if (tier === "quick" || client.endsWith("-trial")) await route.continue();
  });
  const before = await digest(page);
  await toTheBeginning(page);
  await page.keyboard.insertText("# a word\n");
  await moved(page, before);
  await row(page, "winter").and(page.locator('[data-ruling="provisional"]')).waitFor();
  await preview.click();
  await page.waitForSelector("[data-remedies] .preview li");
  expect(await page.locator('.preview [aria-label="provisional"]').count()).toBe(0);
});

test("verif_ spreads are those of the plan that they were drawn of, and are followed by the verdicts", async () => {
  await page.route("**/api/jobs", async (route) => {
    const asked = route.request().postDataJSON() as { kind: string; text: string; ask: object };
    await route.continue({ postData: JSON.stringify({ ...asked, ask: { draws: 12 } }) });
  });
  // What the page shows is of an older text than the one that is drawn.
  let held: (() => void)[] = [];
  await page.route("**/api/consequences", async (route) => {
    await new Promise<void>((go) => held.push(go));
    await route.continue();
  });
  await select(page, 'capacity = "240 Ah"');
  await page.keyboard.insertText('capacity = "250 Ah"');
  await page.locator("button", { hasText: "Draw the spreads" }).click();
  await page.locator("#margins footer", { hasText: /drawn for an older plan|bands/ }).waitFor();
  expect(await page.locator("#margins footer").innerText()).toContain("drawn for an older plan");
  await page.unroute("**/api/consequences");
  held.forEach((go) => go());
  held = [];
  await page.locator("#margins footer", { hasText: "bands: 5 to 95 % of 12 draws" }).waitFor();
  // The record of the draws lies beside the plan, and the verdicts tell it.
  await row(page, "dark-weeks").locator("button.head").click();
  await page.locator('[data-requirement="dark-weeks"] .more', { hasText: "of 12 draws" }).waitFor();
});
