import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, expect, test } from "vitest";
import { Server, digest, launch, moved, open, program, serious, shoot, wavOf } from "./desk.ts";

let browser: Browser;
let server: Server;
let page: Page;

const RATE_HZ = 16_000;
const LENGTH_S = 330;
/** Upsweeps in noise, each so many decibels over it in the detector's band. */
const CALLS = [4, 5.5, 6.5, 7.5, 8.5, 10, 12, 16, 20, 25].map((over_db, i) => ({ at_s: 35 + 29 * i, over_db }));
/** The same of which nobody says what they are: what finds them cries wolf. */
const OTHERS = [7.2, 11.5].map((over_db, i) => ({ at_s: 50 + 145 * i, over_db }));
const RECORDING = "upper_20270402T223000Z.wav";

/** Some minutes of one ear. */
function night(): Buffer {
  // Uniform noise, 600 at most, so that 200 of 8000 Hz hold 55 rms.
  const in_band = (600 / Math.sqrt(3)) * Math.sqrt(200 / (RATE_HZ / 2));
  return wavOf(LENGTH_S, RATE_HZ, (t, noise) => {
    let sample = 600 * noise();
    for (const { at_s, over_db } of [...CALLS, ...OTHERS]) {
      const own = t - at_s;
      if (own < 0 || own >= 0.7) continue;
      sample += in_band * Math.SQRT2 * 10 ** (over_db / 20) * Math.sin(2 * Math.PI * (90 * own + (60 / 1.4) * own * own));
    }
    return sample;
  });
}

const ASKS = `
[requirement.finds]
that = "recall"
of = "detector.upcall-upper"
at_least = "20 %"
labels = "recordings/labels.csv"
`;

interface Point {
  threshold_db: number;
  hits: number;
  missed: number;
  false_alarms: number;
}
let curve: Point[];
let judged_s: number;

const tune = (): { curve: Point[]; judged_s: number; labelled: number } =>
  JSON.parse(
    execFileSync(program(), ["tune", server.plan, join(server.folder, "recordings", RECORDING), "--labels", join(server.folder, "recordings", "labels.csv"), "--as", "module.upper.sensor.ear", "--format", "json"], { encoding: "utf8" }),
  ) as { curve: Point[]; judged_s: number; labelled: number };

beforeAll(async () => {
  browser = await launch();
  server = new Server();
  mkdirSync(join(server.folder, "recordings"));
  writeFileSync(join(server.folder, "recordings", RECORDING), night());
  const labels = CALLS.map(({ at_s }) => `${RECORDING},${at_s},${at_s + 0.7}`);
  writeFileSync(join(server.folder, "recordings", "labels.csv"), `recording,from_s,to_s\n${labels.join("\n")}\n`);
  // Nothing holds back what goes ashore.
  const held = 'when_told = "alert/call"\nat_most = "11 per d"\n';
  const text = server.text;
  expect(text).toContain(held);
  writeFileSync(server.plan, text.replace(held, 'when_told = "alert/call"\n') + ASKS);
  await server.start();
  page = await (await browser.newContext({ viewport: { width: 1280, height: 720 } })).newPage();
  page.setDefaultTimeout(30_000);
  await open(page, server);
});
afterAll(async () => {
  await browser.close();
  await server.end();
});

const cell = (row: string, side: "was" | "is"): Promise<string> => page.locator(`#moved tr[data-row="${row}"] td.${side}`).innerText();
/** The first number of a cell, whatever sets its digits apart. */
async function number(row: string, side: "was" | "is"): Promise<number> {
  const text = (await cell(row, side)).replace(/(?<=\d)\s(?=\d{3}(\D|$))/g, "").replace("−", "-");
  const found = /-?\d+(\.\d+)?/.exec(text);
  if (found === null) throw new Error(`no number in ${text}`);
  return Number(found[0]);
}
async function slide(to_db: number): Promise<void> {
  await page.locator("#threshold").fill(String(to_db));
  await page.locator(`#moved[data-db="${to_db}"][data-fresh="true"]`).waitFor();
}
const point = (db: number): Point => {
  const found = curve.find(({ threshold_db }) => Math.abs(threshold_db - db) < 1e-9);
  if (found === undefined) throw new Error(`${db} dB was not tried`);
  return found;
};

test("verif_ without a record of labels it says what is unknown, and what to run", async () => {
  await page.keyboard.press("Alt+3");
  await page.locator("button", { hasText: "Threshold" }).click();
  await page.locator("select", { hasText: "detector.upcall-upper" }).selectOption("detector.upcall-upper");
  await page.locator('#moved[data-fresh="true"]').waitFor({ timeout: 40_000 });
  await slide(8);
  for (const row of ["misses", "false_alarms", "events", "cost", "charge"]) expect(await cell(row, "is")).toContain("unknown");
  expect(await page.locator('#moved tr[data-row="misses"]').innerText()).toContain("soundline tune");
  // What is unknown is neither better nor worse, and has no bar.
  expect(await page.locator("#moved td.is").allInnerTexts().then((all) => all.join(" "))).not.toMatch(/better|worse/);
  expect(await page.locator('#moved tr[data-row="misses"] rect').count()).toBe(0);
});

test("verif_ what a command leaves beside the plan is followed by the margins and the view", async () => {
  expect(await page.locator('[data-requirement="finds"]').getAttribute("data-ruling")).toBe("unknown");
  const told = tune();
  curve = told.curve;
  judged_s = told.judged_s;
  expect(told.labelled).toBe(CALLS.length);
  await page.locator('[data-requirement="finds"]:not([data-ruling="unknown"])').waitFor();
  await page.locator('#moved tr[data-row="misses"] td.was', { hasText: `of ${CALLS.length} labels` }).waitFor();
});

test("verif_ the threshold moves misses, false alarms, messages, cost and charge together", async () => {
  await slide(9);
  expect(await number("misses", "was")).toBe(point(6).missed);
  // In so short a night two false alarms are more a day than the plan expects of all events: how many are real is to be said.
  expect(await cell("events", "is")).toContain("unknown");
  expect(await page.locator("#real").getAttribute("placeholder")).toBe("not known");
  const real = 30;
  await page.locator("#real").fill(String(real));
  await page.locator("#real").press("Enter");
  const charges: number[] = [];
  const missed: number[] = [];
  for (const db of [2, 6, 9, 14]) {
    await slide(db);
    await expect.poll(() => cell("events", "is")).not.toContain("unknown");
    const found = point(db);
    const share = found.hits / CALLS.length;
    const cried = (found.false_alarms * 86_400) / judged_s;
    const events = real * share + cried;
    const near = async (row: string, expected: number): Promise<void> => {
      const shown = await number(row, "is");
      expect(Math.abs(shown - expected), `${row} at ${db} dB: ${shown}, ${expected}`).toBeLessThanOrEqual(0.006 * Math.abs(expected) + 0.006);
    };
    expect(await number("misses", "is")).toBe(found.missed);
    await near("false_alarms", cried);
    await near("events", events);
    // The other ear's 40 a day, and one a day of the buoy itself; an ear publishes no more than 20 an hour (`at_most` of the topic).
    const messages = 30 * (Math.min(events, 480) + 40 + 1);
    expect((await cell("messages", "is")).includes("held there")).toBe(events > 480);
    await near("messages", messages);
    await near("cost", 0.12 * Math.ceil(messages - 1e-9));
    charges.push(await number("charge", "is"));
    missed.push(found.missed);
  }
  expect(new Set(missed).size).toBeGreaterThan(2);
  expect([6, 9, 14].map((db) => point(db).false_alarms)).toEqual([2, 1, 0]);
  expect(new Set(charges).size).toBeGreaterThan(2);
  await shoot(page, "threshold");
  expect(await serious(page)).toEqual([]);
});

test("verif_ the threshold is written with both its levels and what is then expected", async () => {
  await slide(9);
  await expect.poll(() => cell("events", "is")).not.toContain("unknown");
  const old = await digest(page);
  await page.locator("button", { hasText: "Write it into the plan" }).click();
  await moved(page, old);
  await page.keyboard.press("Control+s");
  await page.locator("#told", { hasText: "Saved" }).waitFor();
  const text = readFileSync(server.plan, "utf8");
  expect(text).toContain('{ on_above = "9 dB", off_below = "7 dB", shortest = "0.4 s"');
  expect(text).toMatch(/\[detector\.upcall-upper\]\nexpects = "\d+(\.\d+)? per d"/);
  expect(text).not.toContain('[detector.upcall-upper]\nexpects = "40 per d"');
});
