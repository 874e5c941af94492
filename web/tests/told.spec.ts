import { writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, expect, test } from "vitest";
import { Server, digest, launch, moved, open, row, settled, type } from "./desk.ts";

// What the server's documents tell is told on the page, too: nothing of it is lost between the two, nor off the side of the page.

let browser: Browser;
let page: Page;
const servers = new Map<string, Server>();
const complaints: string[] = [];

/** A sheet with a word where a length stands, in its fourth line. */
const WRONG = `format = 1
[rehearsal]
name = "Wrong"
duration = "long"
seed = 7
wind = "4 m/s"
`;

async function visit(plan: string, width = 1280, height = 720): Promise<Server> {
  let server = servers.get(plan);
  if (server === undefined) {
    server = new Server(plan);
    servers.set(plan, server);
    if (plan === "harrow-sound") writeFileSync(join(server.folder, "cues", "wrong.toml"), WRONG);
    await server.start();
  }
  page = await (await browser.newContext({ viewport: { width, height } })).newPage();
  page.setDefaultTimeout(30_000);
  page.on("pageerror", (fault) => complaints.push(fault.message));
  await open(page, server);
  return server;
}

const view = async (number: number, ready: string): Promise<void> => {
  await page.keyboard.press(`Alt+${number}`);
  await page.locator(`.shown ${ready}`).first().waitFor({ timeout: 60_000 });
};

async function pick(path: string): Promise<void> {
  await page.locator(`#drawing [data-thing="${path}"]`).focus();
  await page.keyboard.press("Enter");
  await page.locator("#thing h2", { hasText: path }).waitFor();
}

beforeAll(async () => {
  browser = await launch();
});
afterEach(async () => {
  await page.context().close();
  expect(complaints.splice(0)).toEqual([]);
});
afterAll(async () => {
  await browser.close();
  for (const server of servers.values()) await server.end();
});

test("verif_ every verdict that the head counts is listed, limits on the world too, and on paper", async () => {
  await visit("kestrel-piles");
  for (const ruling of ["broken", "marginal", "met"]) {
    const counted = Number(await page.locator(".counts li", { hasText: ruling }).locator("b").textContent());
    expect(await page.locator(`[data-requirement][data-ruling="${ruling}"]`).count(), ruling).toBe(counted);
  }
  expect(await row(page, "watch.strike").getAttribute("data-ruling")).toBe("broken");
  expect(await row(page, "watch.strike").textContent()).toContain("detector.strike threshold");
  // Of a thing that a worse verdict is not about it is said what that one is about.
  await pick("module.ears");
  const asked = await page.locator('[data-asked="watch.strike"]').textContent();
  expect(asked).toContain("broken for detector.strike threshold");
  expect(asked).toContain("+11.47 dB");
  await row(page, "watch.strike").locator("button.head").click();
  await row(page, "watch.strike").locator("button", { hasText: "Its text" }).click();
  expect(await page.locator(".cm-activeLine").first().textContent()).toBe("[watch.strike]");
});

test("verif_ what is marginal or broken says why, and a long unit does not press the name together", async () => {
  await visit("kestrel-piles");
  expect(await row(page, "unlike-metals").locator(".why").textContent()).toContain("only the anodes on them keep it from that");
  const head = row(page, "dark-when-blind");
  expect(await head.locator(".margin").textContent()).toBe("−1");
  expect(await head.textContent()).toContain("1 failure that leaves it unsafe");
  expect(await head.textContent()).not.toContain("1 failures");
});

test("verif_ paper tells when, of which plan and by which program, and what the screen keeps folded", async () => {
  await visit("kestrel-piles");
  expect(await page.locator("#paper").count()).toBe(0);
  await page.emulateMedia({ media: "print" });
  const paper = page.locator("#paper");
  await paper.waitFor();
  const { plan_digest, program } = await page.evaluate(async () => {
    const session = (await (await fetch("/api/session")).json()) as { program: string; plan: { text: string } };
    const asked = { text: session.plan.text, tier: "quick", serial: 1, client: "paper" };
    const told = await fetch("/api/consequences", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(asked) });
    return { ...((await told.json()) as { plan_digest: string }), program: session.program };
  });
  const words = await paper.textContent();
  expect(words).toContain(plan_digest);
  expect(words).toContain(program);
  expect(words).toMatch(/\d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC/);
  const strike = await row(page, "watch.strike").textContent();
  expect(strike).toContain("no sound exposure passes 160 dB re 1 uPa2 s");
  expect(strike).toContain("Source: consent C-118, condition 9");
  expect(strike).toContain("`on_above` of 158.0 dB would do");
  await page.locator("#bar-legend").waitFor();
  await page.locator("#margins details li").first().waitFor();
  await page.emulateMedia({ media: "screen" });
  await paper.waitFor({ state: "detached" });
});

test("verif_ a line under a float hangs in the drawing, with what its modules and spans are told, and has a float at its top", async () => {
  await visit("kestrel-piles");
  for (const thing of ["float.top", "section.taut", "anchor.clump"]) await page.locator(`#drawing [data-thing="${thing}"]`).waitFor({ state: "attached" });
  expect(await page.locator('#drawing [data-thing="module.ears"]').textContent()).toMatch(/23\.02 to 24 V/);
  expect(await page.locator('#drawing [data-thing="span.bed"]').textContent()).toMatch(/bed .* m/);
  await view(5, ".cases button");
  await page.locator('[data-top="float"]').waitFor();
  expect(await page.locator('[data-top="buoy"]').count()).toBe(0);
});

test("verif_ a mooring tells what waves make of each case, as the command does", async () => {
  await visit("harrow-sound");
  await view(5, ".cases button");
  const storm = page.locator(".cases button", { hasText: /storm(?!-)/ });
  await storm.click();
  // As `soundline mooring plans/harrow-sound/plan.toml` prints them.
  const words = await storm.textContent();
  expect(words).toContain("36.55 m off in troughs");
  expect(words).toContain("3037 N in crests");
  expect(await page.locator("#anchor-pull").textContent()).toContain("2831 N upwards in crests");
  expect(await page.locator("#hangs tr", { hasText: "module.marker" }).textContent()).toContain("3.56 to 8.1 m");
});

test("verif_ a slip in a field leaves the field and its reason there, and every figure that rests on it unknown", async () => {
  await visit("harrow-sound");
  await pick("module.upper");
  const field = page.locator('input[data-path="module.upper.position.from_top"]');
  const lowest = page.locator("#thing dl div", { hasText: "voltage" }).first();
  expect(await lowest.textContent()).toContain("23.33 V");
  let before = await digest(page);
  await field.fill("63");
  await field.press("Enter");
  await moved(page, before);
  await page.locator("#thing [role=alert]", { hasText: "a length needs a unit" }).waitFor();
  expect(await lowest.textContent()).toContain("unknown");
  expect(await page.locator("#thing dl").textContent()).not.toContain("0 V");
  expect(await page.locator("#drawing .tag", { hasText: "lower" }).textContent()).toContain("voltage unknown");
  before = await digest(page);
  await field.fill("22 m");
  await field.press("Enter");
  await moved(page, before);
  await page.locator("#thing [role=alert]").waitFor({ state: "detached" });
  await expect.poll(() => lowest.textContent()).toContain("23.33 V");
});

test("verif_ what depends on a picked thing comes with the margin of that thing", async () => {
  await visit("harrow-sound");
  await pick("module.lower");
  expect(await page.locator('[data-asked="voltage"]').textContent()).toContain("+12 V");
  // The plan's own margin is that of the buoy, and its row says so.
  expect(await row(page, "voltage").textContent()).toContain("module.buoy, worst of");
  expect(await page.locator(".counts li", { hasText: "broken" }).locator("svg").count()).toBe(0);
});

test("verif_ where the water's depth is not known no bed and no scale of depth is drawn, and it is said in words", async () => {
  await visit("harrow-sound");
  await page.locator("#bed").waitFor();
  await type(page, 'water_depth = "85 m"', 'water_depth = "85 kg"');
  await page.locator("#no-bed").waitFor();
  expect(await page.locator("#no-bed").textContent()).toContain("unknown");
  expect(await page.locator("#bed, #drawing .tick, #drawing .depth, #drawing .ruler").count()).toBe(0);
  expect(await page.locator('#drawing [data-thing="anchor.sinker"]').count()).toBe(0);
});

test("verif_ a value out of its range says which range", async () => {
  await visit("harrow-sound");
  await type(page, 'length = "92 m"', 'length = "-5 m"');
  const told = page.locator("#mistakes li", { hasText: "-5 m is out of range" });
  await told.waitFor();
  expect(await told.textContent()).toContain("a length here is");
});

test("verif_ the slider of a threshold ends where the key does, with its unit", async () => {
  await visit("harrow-sound");
  await page.keyboard.press("Alt+3");
  await page.locator("button", { hasText: /^Threshold$/ }).click();
  await page.locator("label", { hasText: "Detector" }).locator("select").selectOption("detector.upcall-lower");
  await page.locator('#moved[data-fresh="true"]').waitFor({ timeout: 60_000 });
  const slider = page.locator("#threshold");
  await expect.poll(() => slider.getAttribute("min")).toBe("0.5");
  await slider.focus();
  await page.keyboard.press("Home");
  await page.locator('#moved[data-db="0.5"]').waitFor();
  expect(await page.locator(".view [role=alert]").count()).toBe(0);
  expect(await page.locator(".ends").textContent()).toMatch(/^0\.5 dB.*26 dB$/);
});

test("verif_ lines of a chart are told apart in its legend without their colour", async () => {
  await visit("harrow-sound");
  await view(3, "canvas");
  // Without colour a line is its thickness, what it is broken by, and its dots.
  const looks = (): Promise<string[]> =>
    page.locator(".keys").first().locator("li svg").evaluateAll((all) => all.map((one) => `${one.querySelector("line")?.getAttribute("stroke-width")} ${one.querySelector("line")?.getAttribute("stroke-dasharray")} ${one.querySelectorAll("circle").length}`));
  for (const [tab, most] of [[3, 4], [2, 5]] as const) {
    await view(tab, "canvas");
    await page.locator(".keys li svg").nth(most - 1).waitFor();
    const found = await looks();
    expect(found.length).toBeGreaterThanOrEqual(most);
    expect(new Set(found).size).toBe(found.length);
    // No value is told while nothing is pointed at, and that at the pointer once there is.
    const told = page.locator(".keys").first();
    expect(await told.textContent()).not.toMatch(/--|\d dB/);
    await page.locator(".u-over").first().hover({ position: { x: 200, y: 80 } });
    await expect.poll(() => told.locator("b").count()).toBeGreaterThan(0);
    expect(await told.locator("b").first().textContent()).toMatch(/^\d.* (dB|%)$/);
  }
});

test("verif_ a wrong cue sheet lists its mistakes, and each leads to its place in the sheet", async () => {
  await visit("harrow-sound");
  await view(6, "#cue-sheet");
  await page.locator("#cue-sheet").selectOption("cues/wrong.toml");
  await page.locator("#rehearse:enabled").click();
  const mistake = page.locator("#sheet-mistakes button", { hasText: "line 4" });
  await mistake.click();
  expect(await page.locator("#sheet-text .cm-activeLine").textContent()).toContain("long");
  expect(await page.locator(".rehearsal [role=alert]").textContent()).not.toContain("underlined");
});

test("verif_ what draws is told within its own card, and links within their table", async () => {
  await visit("harrow-sound");
  const within = (cells: string, card: string): Promise<boolean> =>
    page.locator(cells).evaluateAll((all, of) => all.length > 0 && all.every((one) => one.getBoundingClientRect().right <= (one.closest(of)?.getBoundingClientRect().right ?? -1)), card);
  await view(2, "table td.n");
  expect(await within(".shown table td.n", ".chart")).toBe(true);
  await view(4, "table td.n");
  expect(await within(".shown table td.n", ".view")).toBe(true);
});

test("verif_ on a telephone the line comes first, and every view is within reach", async () => {
  await visit("harrow-sound", 390, 844);
  expect(await page.locator("#drawing").isVisible()).toBe(true);
  expect(await page.locator("#margins").isVisible()).toBe(false);
  expect(await page.locator(".tabs").evaluate((tabs) => tabs.scrollWidth <= tabs.clientWidth)).toBe(true);
  await page.locator("header button", { hasText: "Margins" }).click();
  expect(await page.locator("#margins").isVisible()).toBe(true);
  expect(await page.locator("#margins").evaluate((list) => list.scrollWidth <= list.clientWidth)).toBe(true);
});

test("verif_ a remedy's preview opens beside it, where it is seen", async () => {
  await visit("harrow-sound");
  await type(page, 'capacity = "240 Ah"', 'capacity = "100 Ah"');
  await settled(page);
  await row(page, "dark-weeks").and(page.locator('[data-ruling="broken"]')).waitFor();
  await row(page, "dark-weeks").locator("button.head").click();
  await page.locator('[data-remedies="dark-weeks"] > button').click();
  const remedy = page.locator('[data-remedies="dark-weeks"] > ol > li').first();
  await remedy.locator("button", { hasText: "Preview" }).click({ timeout: 60_000 });
  const preview = remedy.locator(".preview");
  await preview.waitFor();
  const seen = (): Promise<boolean> =>
    preview.evaluate((one) => {
      const { top } = one.getBoundingClientRect();
      return top >= 0 && top < window.innerHeight;
    });
  await expect.poll(seen).toBe(true);
});
