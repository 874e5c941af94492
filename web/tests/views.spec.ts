import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, expect, test } from "vitest";
import { Server, digest, launch, moved, open, serious, shoot, wav } from "./desk.ts";

let browser: Browser;
let server: Server;
let page: Page;
const complaints: string[] = [];

/** The first minutes of the demo's night: a near call, which both ears hear. */
const SHORT = `format = 1
[rehearsal]
name = "One call"
start = 2027-04-02T22:30:00Z
duration = "90 s"
seed = 20270402
wind = "7 m/s"
[sound.near-call]
at = "60 s"
kind = "upsweep"
from = "90 Hz"
to = "150 Hz"
length = "0.7 s"
source_level = "176 dB re 1 uPa m"
track = [{ range = "1.2 km", bearing = "80 deg", depth = "15 m" }]
[expect.near-lamp]
that = "switched"
of = "module.marker.output.lamp"
to = "on"
after = "sound.near-call"
within = "2 s"
[expect.near-ashore]
that = "sent"
of = "uplink.shore"
after = "sound.near-call"
within = "5 min"
`;

beforeAll(async () => {
  browser = await launch();
  server = new Server();
  mkdirSync(join(server.folder, "recordings"));
  writeFileSync(join(server.folder, "recordings", "upper_20270402T223000Z.wav"), wav(60, 16000, 90, 150));
  writeFileSync(join(server.folder, "cues", "short.toml"), SHORT);
  await server.start();
  page = await (await browser.newContext({ viewport: { width: 1280, height: 720 } })).newPage();
  page.setDefaultTimeout(30_000);
  page.on("pageerror", (fault) => complaints.push(fault.message));
  page.on("console", (line) => {
    if (line.type() === "error" && !/Failed to load resource/.test(line.text())) complaints.push(line.text());
  });
  await open(page, server);
});
afterEach(() => expect(complaints.splice(0)).toEqual([]));
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

test("verif_ the calls of the plan are drawn against the noise, from the range that is asked for", async () => {
  await page.keyboard.press("Alt+3");
  await page.locator("button", { hasText: /^Noise$/ }).click();
  const legend = page.locator(".keys").first();
  await expect.poll(() => legend.textContent(), { timeout: 30_000 }).toContain("call.upcall at 1000 m");
  await page.locator("#call-range").fill("3 km");
  await expect.poll(() => legend.textContent(), { timeout: 30_000 }).toContain("call.upcall at 3000 m");
  await page.locator("#calls").waitFor();
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

test("verif_ a part held over the line shows at every place whether it may go there, and is put into the plan at one", async () => {
  await page.keyboard.press("Alt+1");
  await page.locator("#hold").click();
  await page.locator("#held-part").selectOption("part.flow-meter");
  const places = page.locator(".hold .place");
  await places.first().waitFor({ timeout: 60_000 });
  // Nothing says yet what it publishes, so that the links stay unknown; told that it is nothing, the answer is known.
  expect(await page.locator(".hold ol").textContent()).toContain("nothing says what the part publishes");
  await page.locator("#held-says").selectOption("nothing");
  await page.locator(".hold ol", { hasText: "may go" }).waitFor({ timeout: 60_000 });
  expect(await places.count()).toBeGreaterThan(5);
  expect(await page.locator(".hold ol").textContent()).toContain("winter-charge binds");
  await places.first().focus();
  await page.keyboard.press("ArrowDown");
  expect(await page.evaluate(() => document.activeElement?.id)).toBe("place-1");
  await shoot(page, "hold");
  // Put into the plan by its own edit, and taken out again.
  const before = await digest(page);
  const text = server.text;
  await page.locator("#held-name").fill("flow");
  await page.locator("#held-name").press("Enter");
  await page.locator(".hold ol", { hasText: "may go" }).waitFor({ timeout: 60_000 });
  await page.locator(".put:enabled").click({ timeout: 60_000 });
  await moved(page, before);
  await page.locator('#drawing [data-thing="module.flow"]').waitFor();
  expect(await page.locator("#mistakes").count()).toBe(0);
  expect(server.text).toBe(text);
  const undo = async (): Promise<void> => {
    const put = await digest(page);
    await page.locator("header button", { hasText: "Undo" }).click();
    await moved(page, put);
    await page.locator('#drawing [data-thing="module.flow"]').waitFor({ state: "detached" });
  };
  await undo();
  // By pointer it is dropped onto a module of the drawing, and hangs beside it.
  await page.locator(".hold .chip").waitFor({ timeout: 60_000 });
  const calm = await digest(page);
  await page.locator(".hold .chip").dragTo(page.locator('#drawing [data-thing="module.upper"] rect').first());
  await moved(page, calm);
  await page.locator('#drawing [data-thing="module.flow"]').waitFor();
  await page.locator('#drawing [data-thing="span.flow"]').waitFor({ state: "attached" });
  await undo();
  await page.locator("#saved-mark", { hasText: /^saved$/ }).waitFor();
});

test("verif_ a rehearsal lights the line, an event opens its trace to the shore, a fault is put in by a click", async () => {
  await page.keyboard.press("Alt+6");
  await page.locator("#cue-sheet").selectOption("cues/short.toml");
  await page.locator("#rehearse:enabled").click();
  await page.locator("#outcome", { hasText: "2 of 2" }).waitFor({ timeout: 60_000 });
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
  await page.locator('[role=slider][aria-label="Time of the rehearsal"]').press("Home");
  await page.locator('[data-thing="span.marker-upper"]').focus();
  await page.keyboard.press("Enter");
  await page.locator("button", { hasText: "cut span.marker-upper" }).click();
  // With its span cut from the beginning no call comes through, and both expectations fail.
  await page.locator("#outcome", { hasText: "0 of 2" }).waitFor({ timeout: 60_000 });
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
  expect((await picture).headers()["content-type"]).toBe("image/png");
  // The rising tone stands out of the noise: the picture is not of one colour.
  const shades = (): Promise<number> =>
    page.locator("#spectrogram").evaluate((one) => {
      const canvas = one as HTMLCanvasElement;
      const at = canvas.getContext("2d");
      if (at === null) return 0;
      const { data } = at.getImageData(Math.round(canvas.width * 0.3), 0, Math.round(canvas.width * 0.5), Math.round(canvas.height * 0.9));
      const seen = new Set<number>();
      for (let i = 0; i < data.length; i += 4) seen.add(((data[i] ?? 0) << 16) | ((data[i + 1] ?? 0) << 8) | (data[i + 2] ?? 0));
      return seen.size;
    });
  await expect.poll(shades, { timeout: 20_000 }).toBeGreaterThan(30);
  await page.locator("select", { hasText: "module.upper.sensor.ear" }).last().selectOption("module.upper.sensor.ear");
  await page.locator("#listen").click();
  await page.locator("#events tbody tr").first().waitFor({ timeout: 40_000 });
  // The tone begins at 36 s.
  expect(await page.locator("#events").textContent()).toMatch(/00:3[56]\.\d/);
  await page.locator("#spectrogram").focus();
  await page.keyboard.press("+");
  const length = await page.locator("#spectrogram").evaluate((one) => Number(one.getAttribute("data-to-s")) - Number(one.getAttribute("data-from-s")));
  expect(length).toBeCloseTo(30, 6);
  const sound = await page.request.get(`${new URL(server.url).origin}/api/recordings/recordings%2Fupper_20270402T223000Z.wav/sound`, { headers: { range: "bytes=0-3" } });
  expect(sound.status()).toBe(206);
  await shoot(page, "recording");
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
