import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";
import { Server, launch, serious, settled, shoot } from "./desk.ts";

let browser: Browser;
let server: Server;
let page: Page;

const VIEWS = ["line", "year", "hearing", "traffic", "mooring", "rehearsal", "quay"];
const SHOWN: Record<string, string> = { line: "#drawing", year: "canvas", hearing: "canvas", traffic: ".topics button", mooring: ".cases button", rehearsal: "#rehearse", quay: "#quay-counts" };

beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  server = new Server();
  await server.start();
});
afterEach(async () => {
  await page.close();
  await server.end();
});

/** Words and boxes of the page that stand outside of their frame, to the left or to the right. */
const cut = (within: string, what: string): Promise<string[]> =>
  page.locator(what).evaluateAll((all, frame) => {
    const beyond: string[] = [];
    for (const one of all) {
      const box = one.getBoundingClientRect();
      const about = one.closest(frame)?.getBoundingClientRect();
      if (about !== undefined && box.width > 0 && (box.left < about.left - 1 || box.right > about.right + 1)) beyond.push(`${one.textContent?.trim() ?? ""}: ${Math.round(box.left - about.left)} to ${Math.round(box.right - about.left)} of ${Math.round(about.width)}`);
    }
    return beyond;
  }, within);

for (const width of [390, 768, 1280]) {
  test(`verif_ at ${width} px every view has its width, nothing of it is cut, and nothing serious is found`, async () => {
    const context = await browser.newContext({ viewport: { width, height: width === 768 ? 1024 : 844 }, colorScheme: width === 768 ? "dark" : "light" });
    page = await context.newPage();
    page.setDefaultTimeout(60_000);
    await page.goto(server.url);
    await page.locator("#drawing").waitFor();
    await settled(page);
    const found: string[] = [];
    for (const margins of width === 768 ? [true, false] : [width > 640]) {
      const pressed = (await page.locator("button", { hasText: /^Margins$/ }).getAttribute("aria-pressed")) === "true";
      if (pressed !== margins) await page.locator("button", { hasText: /^Margins$/ }).click();
      for (const [i, view] of VIEWS.entries()) {
        await page.keyboard.press(`Alt+${i + 1}`);
        await page.locator(`.shown ${SHOWN[view] ?? ""}`).first().waitFor();
        const where = `${view}${margins ? " beside margins" : ""}`;
        const room = await page.locator(".middle").evaluate((middle) => middle.clientWidth);
        if (room < Math.min(width, 460)) found.push(`${where}: the view has ${room} px`);
        for (const one of [...(await cut(".bar", ".tabs button")), ...(await cut("svg", "#drawing text, #drawing .tag, .shape text")), ...(await cut(".frame", "#drawing")), ...(await cut(".bar", ".now span"))]) found.push(`${where}: ${one}`);
        // All tabs stand in one row, whichever is open.
        const apart = await page.locator(".bar .tabs button").evaluateAll((all) => Math.max(...all.map((one) => one.getBoundingClientRect().bottom)) - Math.min(...all.map((one) => one.getBoundingClientRect().bottom)));
        if (apart > 4) found.push(`${where}: tabs in more than one row`);
        found.push(...(await serious(page, ".middle")).map((fault) => `${where}: ${fault}`));
        await shoot(page, `${view}-${width}${margins ? "-margins" : ""}`);
      }
    }
    expect(found).toEqual([]);
    await context.close();
  }, 300_000);
}
