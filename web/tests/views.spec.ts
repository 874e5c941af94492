import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, expect, test } from "vitest";
import { Server, digest, launch, moved, open, serious, shoot, wav } from "./desk.ts";

let browser: Browser;
let server: Server;
let page: Page;

beforeAll(async () => {
  browser = await launch();
  server = new Server();
  mkdirSync(join(server.folder, "recordings"));
  writeFileSync(join(server.folder, "recordings", "upper_20270402T223000Z.wav"), wav(60, 16000, 90, 150));
  await server.start();
  page = await (await browser.newContext({ viewport: { width: 1280, height: 720 } })).newPage();
  page.setDefaultTimeout(30_000);
  await open(page, server);
});
afterAll(async () => {
  await browser.close();
  await server.end();
});

const tabs = ["line", "year", "hearing", "traffic", "mooring", "rehearsal"];
const ready: Record<string, string> = {
  line: "#drawing",
  year: "canvas",
  hearing: "canvas",
  traffic: ".topics button",
  mooring: ".cases button",
  rehearsal: "#rehearse:enabled",
};

test("verif_ each view is reached by its key, has no serious fault of access, and is shown light and dark", async () => {
  const faults: string[] = [];
  for (const theme of ["light", "dark"] as const) {
    await page.emulateMedia({ colorScheme: theme });
    for (const [i, tab] of tabs.entries()) {
      await page.keyboard.press(`Alt+${i + 1}`);
      await page.locator(`#tab-${tab}[aria-selected="true"]`).waitFor();
      await page.locator(`.shown ${ready[tab]}`).first().waitFor();
      if (theme === "light" || tab === "line" || tab === "rehearsal") faults.push(...(await serious(page)).map((fault) => `${tab} ${theme}: ${fault}`));
      await shoot(page, `${tab}-${theme}`);
    }
  }
  await page.emulateMedia({ colorScheme: "light" });
  expect(faults).toEqual([]);
});

test("verif_ on a tablet and a narrow page the panels fold and nothing runs over the side", async () => {
  for (const [width, height] of [[1024, 768], [820, 1180]] as const) {
    await page.setViewportSize({ width, height });
    for (const [i, tab] of tabs.entries()) {
      await page.keyboard.press(`Alt+${i + 1}`);
      await page.locator(`.shown ${ready[tab]}`).first().waitFor();
      expect(await page.evaluate(() => document.documentElement.scrollWidth <= window.innerWidth)).toBe(true);
    }
    await page.keyboard.press("Alt+1");
    await page.locator("#drawing").waitFor();
    await shoot(page, `line-${width}`);
  }
  await page.setViewportSize({ width: 1280, height: 720 });
  await page.locator("header button", { hasText: "Plan" }).click();
});

test("verif_ a part held over the line shows at every place whether it may go there", async () => {
  await page.keyboard.press("Alt+1");
  await page.locator("#hold").click();
  await page.locator("#held-part").selectOption("part.flow-meter");
  const places = page.locator(".hold .place");
  await places.first().waitFor({ timeout: 40_000 });
  expect(await places.count()).toBeGreaterThan(5);
  expect(await page.locator(".hold ol").textContent()).toMatch(/may go|may not go/);
  await places.first().focus();
  await page.keyboard.press("ArrowDown");
  expect(await page.evaluate(() => document.activeElement?.id)).toBe("place-1");
  await shoot(page, "hold");
});

test("verif_ a rehearsal lights the line, an event opens its trace to the shore, a fault is put in by a click", async () => {
  await page.keyboard.press("Alt+6");
  await page.locator("#rehearse:enabled").click();
  await page.locator("#outcome").waitFor({ timeout: 40_000 });
  expect(await page.locator("#outcome").textContent()).toContain("15 of 15");
  await page.locator('[data-what="switched"]').first().click();
  const trace = page.locator("#trace");
  await trace.locator("ol li").first().waitFor();
  const told = await trace.textContent();
  expect(told).toContain("sound.near-call");
  expect(told).toContain("module.marker.output.lamp is on");
  // The lamp shines at this instant.
  await page.locator("#drawing .lamp.lit").first().waitFor();
  await shoot(page, "rehearsal-trace");
  await trace.locator("button", { hasText: "Close" }).click();
  await page.locator('[data-thing="span.marker-upper"]').focus();
  await page.keyboard.press("Enter");
  await page.locator("button", { hasText: "cut span.marker-upper" }).click();
  await page.locator("#outcome", { hasText: /of 15/ }).waitFor({ timeout: 40_000 });
  await expect.poll(() => page.locator("#outcome").textContent(), { timeout: 40_000 }).not.toContain("15 of 15");
  const download = page.waitForEvent("download");
  await page.locator("a", { hasText: "Export the run" }).click();
  expect(await (await download).failure()).toBeNull();
});

test("verif_ a recording is shown, heard by the detectors, and its sound can be had", async () => {
  await page.keyboard.press("Alt+3");
  await page.locator("button", { hasText: "Recordings" }).click();
  await page.locator("#recording").selectOption("recordings/upper_20270402T223000Z.wav");
  const picture = page.waitForResponse((answer) => answer.url().includes("/picture") && answer.ok());
  await page.locator("#spectrogram").waitFor();
  expect((await (await picture).body()).subarray(1, 4).toString()).toBe("PNG");
  await page.locator("select", { hasText: "module.upper.sensor.ear" }).last().selectOption("module.upper.sensor.ear");
  await page.locator("#listen").click();
  await page.locator("#events tbody tr").first().waitFor({ timeout: 40_000 });
  // The tone begins at 36 s.
  expect(await page.locator("#events").textContent()).toMatch(/00:3[56]\.\d/);
  await page.locator("#spectrogram").focus();
  await page.keyboard.press("+");
  const length = await page.locator("#spectrogram").evaluate((one) => Number(one.getAttribute("data-to-s")) - Number(one.getAttribute("data-from-s")));
  expect(length).toBeCloseTo(30, 6);
  const sound = await page.request.get(`${new URL(server.url).origin}/api/recordings/recordings/upper_20270402T223000Z.wav/sound`, { headers: { range: "bytes=0-3" } });
  expect(sound.status()).toBe(206);
  await shoot(page, "recording");
});

test("verif_ the threshold moves misses, false alarms, messages, cost and charge together", async () => {
  await page.keyboard.press("Alt+3");
  await page.locator("button", { hasText: "Threshold" }).click();
  await page.locator("#moved").waitFor({ timeout: 40_000 });
  const slider = page.locator("#threshold");
  await slider.focus();
  const before = await page.locator("#moved").textContent();
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("ArrowRight");
  await expect.poll(() => page.locator("#moved").textContent(), { timeout: 20_000 }).not.toBe(before);
  for (const word of ["calls missed", "false alarms", "messages ashore", "uplink cost", "lowest charge"]) expect(await page.locator("#moved").textContent()).toContain(word);
  const old = await digest(page);
  await page.locator("button", { hasText: "Write it into the plan" }).click();
  await moved(page, old);
  await shoot(page, "threshold");
});

test("verif_ printing shows the margins and the line without the tools", async () => {
  await page.keyboard.press("Alt+1");
  await page.emulateMedia({ media: "print" });
  expect(await page.locator("header button").first().isVisible()).toBe(false);
  expect(await page.locator("#margins").isVisible()).toBe(true);
  expect(await page.locator("#drawing").isVisible()).toBe(true);
  await shoot(page, "printed");
  await page.emulateMedia({ media: "screen" });
});
