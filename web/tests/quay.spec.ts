import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Browser, BrowserContext, Locator, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, launch, open, program, serious, shoot, type as typeInPlan } from "./desk.ts";

let browser: Browser;
let context: BrowserContext;
let page: Page;
let server: Server;
let own: string;

interface Judged {
  steps: { step: string; unit: string; expected: { value: number } | null; found?: string }[];
  faults: { classes: { fault: string }[][]; further: { read: string } | null } | null;
}

/** What the command says of the same plan and readings. */
function command(...more: string[]): Judged {
  try {
    return JSON.parse(execFileSync(program(), ["--format", "json", "dockside", server.plan, ...more], { encoding: "utf8", stdio: ["ignore", "pipe", "pipe"] })) as Judged;
  } catch (fault) {
    // Something off, or not taken, is told by the exit status, too.
    return JSON.parse((fault as { stdout: string }).stdout) as Judged;
  }
}

async function visit(): Promise<void> {
  page = await context.newPage();
  page.setDefaultTimeout(30_000);
  await open(page, server);
  await page.keyboard.press("Alt+7");
  await page.locator("#quay-counts").waitFor();
}

const step = (id: string): Locator => page.locator(`[data-step="${id}"]`);
async function read(id: string, reading: string): Promise<void> {
  await step(id).locator("input").fill(reading);
}
async function found(id: string, what: string): Promise<void> {
  await step(id).and(page.locator(`[data-found="${what}"]`)).waitFor();
}

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  own = mkdtempSync(join(tmpdir(), "soundline-quay-"));
  server = new Server("kelp-gate");
  await server.start();
  context = await browser.newContext({ viewport: { width: 1280, height: 800 } });
  await visit();
});
afterEach(async () => {
  await context.close();
  await server.end();
  rmSync(own, { recursive: true, force: true });
});

test("verif_ readings are judged as they are typed, and what is off, its causes and the next reading are those of the command for the saved file", async () => {
  const sheet = command();
  const metered = sheet.steps.filter(({ step: id, expected }) => expected !== null && /^(open|loop|joined|volts)\./.test(id));
  // A poor contact behind the first leg: every voltage from there on is low.
  const low = new Set(metered.filter(({ step: id }) => /^(joined|volts\.usual)\./.test(id)).slice(1).map(({ step: id }) => id));
  await page.locator("#initials").fill("ab");
  for (const { step: id, expected, unit } of metered) {
    await read(id, String((expected?.value ?? 0) - (low.has(id) ? 1.5 : 0)));
    expect(["V", "A", "ohm"]).toContain(unit);
  }
  for (const id of low) await found(id, "off");
  const good = metered.find(({ step: id }) => !low.has(id))?.step ?? "";
  await found(good, "within");
  expect(await page.locator("#off li").count()).toBe(low.size);
  const saved = page.waitForEvent("download");
  await page.locator("#save-readings:enabled").click();
  const csv = join(own, "readings.csv");
  await (await saved).saveAs(csv);
  const judged = command(csv);
  expect(new Set(judged.steps.filter((one) => one.found === "off").map((one) => one.step))).toEqual(low);
  const causes = await page.locator("#causes").textContent();
  for (const { fault } of judged.faults?.classes[0]?.slice(0, 12) ?? []) expect(causes).toContain(fault);
  expect(judged.faults?.classes[0]?.length).toBeGreaterThan(0);
  if (judged.faults?.further) expect(await page.locator("#further").textContent()).toContain(judged.faults.further.read);
  else expect(await page.locator("#further").count()).toBe(0);
  expect(readFileSync(csv, "utf8")).toContain(",ab,");
  await shoot(page, "quay-off");
  // What is told as off leads to its box.
  await page.locator("#off button").first().focus();
  await page.keyboard.press("Enter");
  expect(await page.evaluate(() => document.activeElement?.id)).toBe(`read-${await page.locator("#off button").first().textContent().then((words) => words?.trim())}`);
});

test("verif_ readings outlive the page, are cleared by choice, and come back from a file with what of it cannot be used told", async () => {
  const [first, second] = command().steps.filter(({ step: id }) => id.startsWith("open.") || id.startsWith("loop."));
  if (first === undefined || second === undefined) throw new Error("the example has no such steps");
  await read(first.step, "1");
  await found(first.step, "off");
  // A unit that is chosen first counts for what is typed then.
  const insulation = command().steps.find(({ step: id }) => id.startsWith("insulation."))?.step ?? "";
  await step(insulation).locator("select").selectOption("kohm");
  await read(insulation, "200000");
  await found(insulation, "within");
  await read(insulation, "200");
  await found(insulation, "off");
  await page.reload();
  await page.waitForSelector("#drawing");
  await page.keyboard.press("Alt+7");
  await found(first.step, "off");
  expect(await step(first.step).locator("input").inputValue()).toBe("1");
  await page.locator("button", { hasText: /^Clear$/ }).click();
  await found(first.step, "not-taken");
  const csv = join(own, "mine.csv");
  writeFileSync(csv, `step;reading;unit;initials;note\n${first.step};24,1;V;ab;cold\n${second.step};OL;ohm;ab;\nnowhere.sun;24;V;ab;\n`);
  await page.locator("#load-readings").setInputFiles(csv);
  await found(second.step, "off");
  expect(await page.locator("#unloaded li").allTextContents()).toEqual([expect.stringContaining("line 4: `nowhere.sun`")]);
  // What cannot be used stays in its box, with why.
  const box = step(first.step).locator("input");
  expect(await box.inputValue()).toBe("24,1");
  await expect.poll(() => box.getAttribute("aria-invalid")).toBe("true");
  expect(await step(first.step).locator(".bad").textContent()).toContain("24,1");
  await box.fill("24.1");
  await expect.poll(() => box.getAttribute("aria-invalid")).toBe("false");
  // It is judged against the plan as it is written now.
  await page.keyboard.press("Alt+1");
  await page.keyboard.press("Alt+7");
  expect(await step(first.step).locator("input").inputValue()).toBe("24.1");
});

test("verif_ the quay has no serious fault of access, wide and narrow, light and dark, and nothing of it is cut", async () => {
  const [first, second] = command().steps.filter(({ step: id }) => id.startsWith("open.") || id.startsWith("joined."));
  await read(first?.step ?? "", "1");
  await read(second?.step ?? "", "1,0");
  await found(first?.step ?? "", "off");
  const faults: string[] = [];
  for (const width of [1280, 390]) {
    await page.setViewportSize({ width, height: 844 });
    for (const colorScheme of ["light", "dark"] as const) {
      await page.emulateMedia({ colorScheme });
      faults.push(...(await serious(page, ".middle")).map((fault) => `${width} ${colorScheme}: ${fault}`));
      await shoot(page, `quay-${width}-${colorScheme}`);
    }
    expect(await page.locator(".quay").evaluate((view) => view.scrollWidth - view.clientWidth)).toBeLessThanOrEqual(0);
  }
  expect(faults).toEqual([]);
});

test("verif_ a changed plan changes what a box must show, and one without a line says so", async () => {
  const volts = command().steps.find(({ step: id }) => id.startsWith("open."));
  const before = await step(volts?.step ?? "").locator(".expected").textContent();
  const written = /voltage = "(\d+) V"/.exec(server.text)?.[0] ?? "";
  await typeInPlan(page, written, 'voltage = "31 V"');
  await expect.poll(() => step(volts?.step ?? "").locator(".expected").textContent()).not.toBe(before);
  await typeInPlan(page, 'voltage = "31 V"', 'voltage = "31 kg"');
  await page.locator(".quay [role=alert]", { hasText: "the plan has mistakes" }).waitFor();
  // What was worked out before stays, and what it is of is said.
  expect(await page.locator(".quay").textContent()).toContain("of what was here before");
});
