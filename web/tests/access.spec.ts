import { writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, launch, open, row, serious, settled, type } from "./desk.ts";

// What the accessibility rules find that is serious, where a page is in use: not only as it opens. And nothing that the browser refuses.

let browser: Browser;
let page: Page;
let server: Server;
let complaints: string[];

const CALM = `format = 1
[rehearsal]
name = "Calm"
duration = "4 s"
seed = 7
wind = "4 m/s"
`;

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  server = new Server();
  writeFileSync(join(server.folder, "cues", "calm.toml"), CALM);
  await server.start();
  page = await (await browser.newContext({ viewport: { width: 1280, height: 720 } })).newPage();
  page.setDefaultTimeout(30_000);
  complaints = [];
  page.on("pageerror", (fault) => complaints.push(fault.message));
  page.on("console", (line) => {
    // An answer that says no is the server's word, which the page shows.
    if (line.type() === "error" && !/Failed to load resource/.test(line.text())) complaints.push(line.text());
  });
  await open(page, server);
});
afterEach(async () => {
  await page.close();
  await server.end();
  expect(complaints).toEqual([]);
});

async function bothThemes(where: string, within?: string): Promise<string[]> {
  const found: string[] = [];
  for (const colorScheme of ["light", "dark"] as const) {
    await page.emulateMedia({ colorScheme });
    found.push(...(await serious(page, within)).map((fault) => `${where} ${colorScheme}: ${fault}`));
  }
  return found;
}

const LONG_MS = 400_000;

test("verif_ every view has no serious fault of access in the dark either", async () => {
  const found: string[] = [];
  await page.emulateMedia({ colorScheme: "dark" });
  const ready = { line: "#drawing", year: "canvas", traffic: ".topics button", mooring: ".cases button", rehearsal: "#rehearse", quay: "#quay-counts" };
  for (const [i, tab] of ["line", "year", "hearing", "traffic", "mooring", "rehearsal", "quay"].entries()) {
    const shown = ready[tab as keyof typeof ready];
    if (shown === undefined) continue;
    await page.keyboard.press(`Alt+${i + 1}`);
    await page.locator(`.shown ${shown}`).first().waitFor();
    found.push(...(await serious(page, ".middle")).map((fault) => `${tab}: ${fault}`));
  }
  expect(found).toEqual([]);
}, LONG_MS);

test("verif_ every part of Hearing has no serious fault of access, light and dark", async () => {
  const found: string[] = [];
  await page.keyboard.press("Alt+3");
  const parts = { Noise: "canvas", "Found over range": ".view .main", Shadows: ".view .note.bad", Threshold: "#threshold", Recordings: ".view p" };
  for (const [part, shown] of Object.entries(parts)) {
    await page.locator("button", { hasText: new RegExp(`^${part}$`) }).click();
    await page.locator(shown).first().waitFor({ timeout: 60_000 });
    found.push(...(await bothThemes(part, ".middle")));
  }
  expect(found).toEqual([]);
}, LONG_MS);

test("verif_ an opened verdict, a preview, a held part and a picked thing have no serious fault of access", async () => {
  const found: string[] = [];
  await type(page, 'capacity = "240 Ah"', 'capacity = "100 Ah"');
  await settled(page);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="broken"]')).waitFor();
  await row(page, "dark-weeks").locator("button.head").click();
  found.push(...(await bothThemes("row", ".margins")));
  await page.locator('[data-remedies="dark-weeks"] > button').click();
  await page.locator('[data-remedies="dark-weeks"] button', { hasText: "Preview" }).first().click({ timeout: 60_000 });
  await page.locator("[data-remedies] .preview").waitFor();
  found.push(...(await bothThemes("preview", ".margins")));
  await page.locator('[data-thing="module.upper"]').focus();
  await page.keyboard.press("Enter");
  found.push(...(await bothThemes("thing", ".middle")));
  await page.locator("#hold").click();
  await page.locator("#held-part").selectOption("part.flow-meter");
  await page.locator(".hold .place").first().waitFor({ timeout: 60_000 });
  found.push(...(await bothThemes("hold", ".middle")));
  expect(found).toEqual([]);
}, LONG_MS);

test("verif_ a difference takes the focus and gives it back, its lines are reached by keys, and a trace and a written sheet have no serious fault", async () => {
  const found: string[] = [];
  await type(page, 'length = "92 m"', 'length = "93 m"');
  writeFileSync(server.plan, `${server.text}${Array.from({ length: 60 }, (_, i) => `# theirs ${i}`).join("\n")}\n`);
  await page.locator("#tier").waitFor();
  await page.keyboard.press("Control+s");
  const conflict = page.locator("#conflict");
  await conflict.waitFor();
  found.push(...(await bothThemes("conflict", ".notices")));
  await page.keyboard.press("Control+s");
  await expect.poll(() => conflict.evaluate((box) => box.contains(document.activeElement) || document.activeElement?.id === "editor")).toBe(true);
  await conflict.locator(".lines").focus();
  await page.keyboard.press("End");
  await expect.poll(() => conflict.locator(".lines").evaluate((lines) => lines.scrollTop)).toBeGreaterThan(0);
  await conflict.locator("button", { hasText: "Take the file's text" }).click();
  await conflict.waitFor({ state: "detached" });
  await page.keyboard.press("Alt+6");
  await page.locator("#cue-sheet").selectOption("cues/calm.toml");
  await page.locator("button", { hasText: /^Write$/ }).click();
  await page.locator("#sheet-text").waitFor();
  found.push(...(await bothThemes("sheet", ".middle")));
  await page.locator("#rehearse:enabled").click();
  await page.locator("#outcome").waitFor({ timeout: 60_000 });
  await page.locator(".every input").check();
  await page.locator(".records button").first().click();
  await page.locator("#trace ol li").first().waitFor();
  found.push(...(await bothThemes("trace", ".middle")));
  expect(found).toEqual([]);
}, LONG_MS);
