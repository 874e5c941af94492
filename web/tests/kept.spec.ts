import { writeFileSync } from "node:fs";
import type { Browser, BrowserContext, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, launch, moved, digest, open, row, settled, type, toTheBeginning } from "./desk.ts";

let browser: Browser;
let context: BrowserContext;
let servers: Server[];

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  context = await browser.newContext({ viewport: { width: 1280, height: 720 } });
  servers = [];
});
afterEach(async () => {
  await context.close();
  for (const server of servers) await server.end();
});

/** A server of a plan of its own, at the port of the first. */
function another(plan?: string): Server {
  const server = new Server(plan);
  const first = servers[0];
  if (first !== undefined) server.url = first.url;
  servers.push(server);
  return server;
}

async function visit(server: Server): Promise<Page> {
  const page = await context.newPage();
  page.setDefaultTimeout(30_000);
  await open(page, server);
  return page;
}

async function save(page: Page): Promise<void> {
  await page.keyboard.press("Control+s");
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
}

const offer = (page: Page) => page.locator(".notices button", { hasText: "Bring it back" });

test("verif_ text left unsaved in one plan is neither offered in another of the same name and port, nor lost by it", async () => {
  const a = another();
  await a.start();
  const left = await visit(a);
  await type(left, 'length = "92 m"', 'length = "93 m"');
  await left.close();
  await a.stop();
  const b = another();
  await b.start();
  expect(b.url).toBe(a.url);
  const page = await visit(b);
  expect(await offer(page).count()).toBe(0);
  await type(page, 'length = "92 m"', 'length = "94 m"');
  await save(page);
  expect(b.text).toContain('length = "94 m"');
  await page.close();
  await b.stop();
  await a.start();
  const back = await visit(a);
  await offer(back).click();
  await back.locator("#saved-mark", { hasText: "unsaved" }).waitFor();
  expect(await back.locator("#conflict").count()).toBe(0);
  await save(back);
  expect(a.text).toContain('length = "93 m"');
});

test("verif_ a page that outlives its server takes nothing from another plan and writes nothing to it", async () => {
  const a = another();
  await a.start();
  const page = await visit(a);
  await a.stop();
  const b = another();
  writeFileSync(b.plan, b.text.replace('name = "Harrow Sound', 'name = "Other Sound'));
  const theirs = b.text;
  await b.start();
  await page.locator("#other").waitFor();
  expect(await page.locator("h1").textContent()).toContain("Harrow Sound");
  expect(await page.locator("#conflict").count()).toBe(0);
  await toTheBeginning(page);
  await page.keyboard.insertText("# of the first plan\n");
  await page.keyboard.press("Control+s");
  await page.locator("#told", { hasText: "another plan" }).waitFor();
  expect(b.text).toBe(theirs);
  expect(await page.locator("#conflict").count()).toBe(0);
  await b.stop();
  await a.start();
  await page.locator("#other").waitFor({ state: "detached" });
  await save(page);
  expect(a.text.startsWith("# of the first plan\n")).toBe(true);
  expect(b.text).toBe(theirs);
});

test("verif_ bringing back text over a file that was written since shows the difference and overwrites nothing", async () => {
  const a = another();
  await a.start();
  const left = await visit(a);
  await type(left, 'length = "92 m"', 'length = "93 m"');
  await left.close();
  const theirs = a.text.replace('name = "Harrow Sound', 'name = "Other Sound');
  writeFileSync(a.plan, theirs);
  const page = await visit(a);
  await page.locator(".notices", { hasText: "written since" }).waitFor();
  await offer(page).click();
  const conflict = page.locator("#conflict");
  await conflict.waitFor();
  const told = await conflict.textContent();
  expect(told).toContain("Other Sound");
  expect(told).toContain("93 m");
  await conflict.locator("button", { hasText: "Decide later" }).click();
  await conflict.waitFor({ state: "detached" });
  await page.keyboard.press("Control+s");
  await conflict.waitFor();
  expect(a.text).toBe(theirs);
  // Undone, there is nothing left to decide, and the next change is one of the file as it is.
  await page.locator("header button", { hasText: "Undo" }).click();
  await conflict.waitFor({ state: "detached" });
  await type(page, 'length = "92 m"', 'length = "95 m"');
  await save(page);
  expect(a.text).toBe(theirs.replace('length = "92 m"', 'length = "95 m"'));
});

test("verif_ what is typed while an edit is with the server stays", async () => {
  const a = another();
  await a.start();
  const page = await visit(a);
  let release = (): void => undefined;
  const held = new Promise<void>((go) => (release = go));
  let asked = 0;
  await page.route("**/api/edit", async (route) => {
    asked += 1;
    if (asked === 1) await held;
    await route.continue();
  });
  await page.locator('[data-thing="section.riser"] .grip').click({ position: { x: 3, y: 200 }, force: true });
  const field = page.locator('input[data-path="section.riser.length"]');
  await field.fill("95 m");
  await field.press("Enter");
  await expect.poll(() => asked).toBe(1);
  await type(page, 'water_depth = "85 m"', 'water_depth = "86 m"');
  release();
  await expect.poll(() => asked).toBe(2);
  await expect.poll(() => field.inputValue()).toBe("95 m");
  await expect.poll(() => page.locator("header button.main").isEnabled()).toBe(true);
  await settled(page);
  await save(page);
  expect(a.text).toContain('water_depth = "86 m"');
  expect(a.text).toContain('length = "95 m"');
});

test("verif_ a remedy previewed in an older text is not applied over a newer one", async () => {
  const a = another();
  await a.start();
  const page = await visit(a);
  await type(page, 'capacity = "240 Ah"', 'capacity = "100 Ah"');
  await settled(page);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="broken"]')).waitFor();
  await row(page, "dark-weeks").locator("button.head").click();
  await page.locator('[data-remedies="dark-weeks"] > button').click();
  await page.locator('[data-remedies="dark-weeks"] button', { hasText: "Preview" }).first().click({ timeout: 60_000 });
  const preview = page.locator("[data-remedies] .preview");
  await preview.waitFor();
  // A comment changes no verdict, so the row with the preview stays.
  await toTheBeginning(page);
  await page.keyboard.insertText("# typed since\n");
  await preview.locator("button", { hasText: "Preview again" }).waitFor();
  expect(await preview.locator("button", { hasText: "Apply" }).count()).toBe(0);
  await preview.locator("button", { hasText: "Preview again" }).click();
  await preview.locator("button", { hasText: "Apply" }).click();
  await page.locator("#told", { hasText: "remedy is in the text" }).waitFor();
  await save(page);
  expect(a.text.startsWith("# typed since\n")).toBe(true);
  expect(a.text).not.toContain('capacity = "100 Ah"');
});

test("verif_ a file with long line ends keeps them: places are right, undo comes back to saved, and saving changes what was typed alone", async () => {
  const a = another();
  const raw = a.text.replaceAll("\n", "\r\n");
  writeFileSync(a.plan, raw);
  await a.start();
  const page = await visit(a);
  // What is edited by the server is told by its places at once, before any key.
  await type(page, 'water_depth = "85 m"', 'water_depth = "85"');
  await page.waitForSelector(".cm-lintRange-error");
  expect(await page.locator(".cm-lintRange-error").first().textContent()).toContain("85");
  const before = await digest(page);
  await page.locator("header button", { hasText: "Undo" }).click();
  await moved(page, before);
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
  await type(page, 'length = "92 m"', 'length = "93 m"');
  await save(page);
  expect(a.text).toBe(raw.replace('length = "92 m"', 'length = "93 m"'));
  // Another's change with the same line ends is followed without a difference in every line.
  writeFileSync(a.plan, a.text.replace('name = "Harrow Sound', 'name = "Other Sound'));
  await page.locator("#told", { hasText: "changed on the disk" }).waitFor();
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
});

test("verif_ places in a file with long line ends are right before the first key", async () => {
  const a = another();
  writeFileSync(a.plan, a.text.replace('water_depth = "85 m"', 'water_depth = "85"').replaceAll("\n", "\r\n"));
  await a.start();
  const page = await context.newPage();
  page.setDefaultTimeout(30_000);
  await page.goto(a.url);
  await page.waitForSelector(".cm-lintRange-error");
  expect(await page.locator(".cm-lintRange-error").first().textContent()).toContain("85");
});

test("verif_ a module that is placed from the anchor is dragged by that key, and the plan stays whole", async () => {
  const a = another("kestrel-piles");
  await a.start();
  const page = await visit(a);
  const before = await digest(page);
  const box = await page.locator('[data-thing="module.low"] rect').first().boundingBox();
  if (box === null) throw new Error("the module is not drawn");
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x, y - 40, { steps: 5 });
  await page.mouse.up();
  await moved(page, before);
  const field = page.locator('input[data-path="module.low.position.from_anchor"]');
  await expect.poll(async () => Number.parseFloat(await field.inputValue())).toBeGreaterThan(3);
  await settled(page);
  expect(await page.locator("#drawing").count()).toBe(1);
  expect(await page.locator("#mistakes").count()).toBe(0);
});
