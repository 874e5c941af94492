import { appendFileSync, readFileSync, writeFileSync } from "node:fs";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, beforeEach, expect, test, afterEach } from "vitest";
import { Server, digest, launch, moved, open, row, select, settled, type, toTheBeginning } from "./desk.ts";

let browser: Browser;
let page: Page;
let server: Server;
let complaints: string[];

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  server = new Server();
  await server.start();
  page = await (await browser.newContext({ viewport: { width: 1280, height: 720 } })).newPage();
  page.setDefaultTimeout(30_000);
  complaints = [];
  page.on("pageerror", (fault) => complaints.push(fault.message));
  page.on("console", (line) => {
    if (line.type() === "error" && !/Failed to load resource|ERR_CONNECTION|net::/.test(line.text())) complaints.push(line.text());
  });
  await open(page, server);
});
afterEach(async () => {
  await page.close();
  await server.end();
  expect(complaints).toEqual([]);
});

test("verif_ the demo opens with its line, its margins worst first, and nothing from elsewhere", async () => {
  expect(await page.locator("h1").textContent()).toBe("Harrow Sound ferry-lane watch");
  const things = await page.locator("#drawing [data-thing]").evaluateAll((all) => all.map((one) => one.getAttribute("data-thing")));
  for (const thing of ["module.buoy", "module.marker", "module.upper", "module.probe", "module.lower", "section.riser", "span.probe-lower", "anchor.sinker"]) expect(things).toContain(thing);
  const order = ["broken", "unknown", "marginal", "provisional", "met"];
  const rulings = await page.locator("[data-requirement]").evaluateAll((all) => all.map((one) => one.getAttribute("data-ruling") ?? ""));
  expect(rulings.length).toBeGreaterThan(20);
  rulings.slice(1).forEach((ruling, i) => expect(order.indexOf(ruling)).toBeGreaterThanOrEqual(order.indexOf(rulings[i] ?? "")));
  const from = await page.evaluate(() => performance.getEntriesByType("resource").map(({ name }) => new URL(name).origin));
  expect(new Set(from)).toEqual(new Set([new URL(server.url).origin]));
});

test("verif_ a mistake is underlined with what mends it, and goes when it is mended", async () => {
  await type(page, 'water_depth = "85 m"', 'water_depth = "85"');
  await page.waitForSelector(".cm-lintRange-error");
  expect(await page.locator(".cm-lintRange-error").first().textContent()).toContain("85");
  const told = await page.locator("#mistakes").textContent();
  expect(told).toContain("line 15");
  expect(told).toMatch(/unit/);
  await type(page, 'water_depth = "85"', 'water_depth = "85 m"');
  await page.waitForSelector(".cm-lintRange-error", { state: "detached" });
  await page.waitForSelector("#drawing");
});

test("verif_ completion offers the keys of the schema and the ids of the plan", async () => {
  await type(page, 'of = "module.lower"', 'of = ""');
  await select(page, 'of = ""');
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("Control+Space");
  await page.waitForSelector(".cm-tooltip-autocomplete li");
  expect(await page.locator(".cm-tooltip-autocomplete").textContent()).toContain("module.lower");
});

test("verif_ a verdict that breaks shows first, and a remedy mends it, with a preview before and an undo after", async () => {
  const calm = server.text;
  await type(page, 'capacity = "240 Ah"', 'capacity = "100 Ah"');
  await settled(page);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="broken"]')).waitFor();
  expect(await page.locator("[data-requirement]").first().getAttribute("data-ruling")).toBe("broken");
  await row(page, "dark-weeks").locator("button.head").click();
  await page.locator('[data-remedies="dark-weeks"] > button').click();
  const preview = page.locator('[data-remedies="dark-weeks"] button', { hasText: "Preview" }).first();
  await preview.click({ timeout: 40_000 });
  await page.waitForSelector("[data-remedies] .preview");
  const before = await digest(page);
  await page.locator("[data-remedies] .preview button.main").click();
  await moved(page, before);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="met"], [data-ruling="marginal"]')).waitFor();
  expect(server.text).toBe(calm);
  const mended = await digest(page);
  await page.locator("header button", { hasText: "Undo" }).click();
  await moved(page, mended);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="broken"]')).waitFor();
});

test("verif_ a length typed or turned beside the line moves the margins and stands in the text", async () => {
  const margin = row(page, "swing").locator(".margin");
  const was = await margin.textContent();
  await page.locator('[data-thing="section.riser"] .grip').click({ position: { x: 3, y: 200 }, force: true });
  const field = page.locator('input[data-path="section.riser.length"]');
  const before = await digest(page);
  await field.fill("95 m");
  await field.press("Enter");
  await moved(page, before);
  expect(await margin.textContent()).not.toBe(was);
  await expect.poll(() => page.locator(".cm-content").evaluate(() => document.documentElement.dataset["digest"])).not.toBe(before);
  const turned = await digest(page);
  await page.locator('[role=slider][aria-label^="section.riser.length"]').press("ArrowDown");
  await moved(page, turned);
  expect(await field.inputValue()).toBe("94 m");
});

test("verif_ the line is walked by keys, a thing shows its numbers and its text", async () => {
  await page.locator('[data-thing="module.buoy"]').focus();
  await page.keyboard.press("Enter");
  expect(await page.locator("#thing h2").textContent()).toBe("module.buoy");
  await page.keyboard.press("ArrowDown");
  expect(await page.locator("#thing h2").textContent()).not.toBe("module.buoy");
  await page.locator('[data-thing="module.marker"]').focus();
  await page.keyboard.press("Enter");
  await page.locator("#thing button", { hasText: "Its text" }).click();
  expect(await page.locator(".cm-activeLine").first().textContent()).toBe("[module.marker]");
});

test("verif_ a module dragged down its section is written there, and its verdicts follow", async () => {
  const before = await digest(page);
  const box = await page.locator('[data-thing="module.lower"] rect').boundingBox();
  if (box === null) throw new Error("the module is not drawn");
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2 + 25, { steps: 5 });
  await page.mouse.up();
  await moved(page, before);
  await expect.poll(() => page.locator('input[data-path="module.lower.position.from_top"]').inputValue()).not.toBe("58 m");
});

test("verif_ saving writes the file, and tells what is unsaved", async () => {
  expect(await page.locator("#saved-mark").textContent()).toBe("saved");
  await type(page, 'length = "92 m"', 'length = "93 m"');
  expect(await page.locator("#saved-mark").textContent()).toContain("unsaved");
  expect(server.text).toContain('length = "92 m"');
  await page.keyboard.press("Control+s");
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
  expect(server.text).toContain('length = "93 m"');
});

test("verif_ a file that changed meanwhile is shown as a difference and not overwritten", async () => {
  await type(page, 'length = "92 m"', 'length = "93 m"');
  const theirs = server.text.replace('name = "Harrow Sound', 'name = "Other Sound');
  writeFileSync(server.plan, theirs);
  await page.keyboard.press("Control+s");
  const difference = page.locator("#conflict");
  await difference.waitFor();
  const told = await difference.textContent();
  expect(told).toContain("Other Sound");
  expect(told).toContain("93 m");
  expect(server.text).toBe(theirs);
  await difference.locator("button", { hasText: "Take the file's text" }).click();
  await page.locator("h1", { hasText: "Other Sound" }).waitFor();
  expect(server.text).toBe(theirs);
  // The page's own text is one undo away, and can now be saved over what lies there, since it was seen.
  await page.locator("header button", { hasText: "Undo" }).click();
  await page.locator("h1", { hasText: "Harrow Sound" }).waitFor();
  await page.keyboard.press("Control+s");
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
  expect(server.text).toContain('length = "93 m"');
});

test("verif_ a file that changes under an unchanged page is followed", async () => {
  appendFileSync(server.plan, "\n# a note from the other side\n");
  await page.locator("#told", { hasText: "changed on the disk" }).waitFor();
  expect(await page.locator("#saved-mark").textContent()).toBe("saved");
});

test("verif_ a lost server is noticed, the text kept, and all goes on when it is back", async () => {
  await server.stop();
  await page.locator(".notices [role=alert]", { hasText: "does not answer" }).waitFor();
  await toTheBeginning(page);
  await page.keyboard.insertText("# written while alone\n");
  await page.keyboard.press("Control+s");
  expect(await page.locator("#saved-mark").textContent()).toContain("unsaved");
  // The browser keeps it even if the page goes.
  const kept = await page.evaluate(() => Object.values(localStorage).some((text) => text.includes("written while alone")));
  expect(kept).toBe(true);
  await server.start();
  await page.locator(".notices [role=alert]").waitFor({ state: "detached" });
  await page.keyboard.press("Control+s");
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
  expect(readFileSync(server.plan, "utf8").startsWith("# written while alone\n")).toBe(true);
});

test("verif_ what a closed page left unsaved is offered again", async () => {
  await type(page, 'length = "92 m"', 'length = "93 m"');
  page.once("dialog", (dialog) => void dialog.accept());
  await page.reload();
  await page.waitForSelector("#drawing");
  await page.locator(".notices button", { hasText: "Bring it back" }).click();
  await page.locator("#saved-mark", { hasText: "unsaved" }).waitFor();
  expect(server.text).toContain('length = "92 m"');
});
