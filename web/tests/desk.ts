import { spawn, type ChildProcess } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import AxeBuilder from "@axe-core/playwright";
import { chromium, type Browser, type Locator, type Page } from "playwright-core";

const root = fileURLToPath(new URL("../..", import.meta.url));

/** The program under test, with the page built into it. */
export function program(): string {
  const path = resolve(root, process.env["SOUNDLINE_BIN"] ?? "target/debug/soundline");
  if (!existsSync(path)) throw new Error(`${path} is missing: scripts/page_test.sh builds it`);
  return path;
}

function browserPath(): string {
  const found = [process.env["SOUNDLINE_CHROMIUM"], "/usr/bin/chromium", "/usr/bin/chromium-browser"].find((path) => path !== undefined && existsSync(path));
  if (found === undefined) throw new Error("no chromium here: scripts/need.sh chromium installs it");
  return found;
}

export const launch = (): Promise<Browser> => chromium.launch({ executablePath: browserPath(), args: ["--no-sandbox", "--disable-dev-shm-usage", "--autoplay-policy=no-user-gesture-required"] });

/** The server on a copy of a plan's folder. */
export class Server {
  readonly folder: string;
  url = "";
  #child: ChildProcess | null = null;
  readonly #home: string;

  constructor(plan = "harrow-sound") {
    this.#home = mkdtempSync(join(tmpdir(), "soundline-desk-"));
    this.folder = join(this.#home, plan);
    cpSync(join(root, "plans", plan), this.folder, { recursive: true });
  }

  get plan(): string {
    return join(this.folder, "plan.toml");
  }

  get text(): string {
    return readFileSync(this.plan, "utf8");
  }

  /** Starts, at the port it had before where it was started before. */
  async start(): Promise<void> {
    const port = this.url === "" ? "0" : new URL(this.url).port;
    const child = spawn(program(), ["desk", this.plan, "--port", port], { stdio: ["ignore", "pipe", "pipe"] });
    this.#child = child;
    this.url = await new Promise<string>((found, fail) => {
      let told = "";
      const read = (piece: Buffer): void => {
        told += piece.toString();
        const at = /http:\/\/[\w.:[\]]+\/(\?token=\w+)?/.exec(told);
        if (at !== null) found(at[0]);
      };
      child.stdout?.on("data", read);
      child.stderr?.on("data", read);
      child.once("exit", (code) => fail(new Error(`the server ended with ${code}: ${told}`)));
    });
  }

  async stop(): Promise<void> {
    const child = this.#child;
    this.#child = null;
    if (child === null || child.exitCode !== null) return;
    const ended = new Promise<void>((done) => child.once("exit", () => done()));
    child.kill("SIGINT");
    const late = setTimeout(() => child.kill("SIGKILL"), 3000);
    await ended;
    clearTimeout(late);
  }

  async end(): Promise<void> {
    await this.stop();
    rmSync(this.#home, { recursive: true, force: true });
  }
}

/** The digest of the text whose consequences the page shows. */
export const digest = (page: Page): Promise<string | undefined> => page.evaluate(() => document.documentElement.dataset["digest"]);

/** Waits until the page shows the consequences of another text than `before`. */
export async function moved(page: Page, before: string | undefined): Promise<void> {
  await page.waitForFunction((old) => document.documentElement.dataset["digest"] !== old, before);
}

export async function settled(page: Page): Promise<void> {
  await page.waitForFunction(() => document.documentElement.dataset["tier"] === "full");
}

export async function open(page: Page, server: Server): Promise<void> {
  await page.goto(server.url);
  await page.waitForSelector("#drawing");
  await settled(page);
}

/** Finds a text of one line in the editor as a person does, and types another over it; waits for what follows from it. */
export async function type(page: Page, find: string, instead: string): Promise<void> {
  const before = await digest(page);
  await select(page, find);
  await page.keyboard.insertText(instead);
  await moved(page, before);
}

/** Puts the cursor before the text, wherever the editor is scrolled to. */
export async function toTheBeginning(page: Page): Promise<void> {
  await page.locator("#editor .cm-content").focus();
  await page.keyboard.press("Control+Home");
}

/** Finds a text of one line in the editor, which selects it. */
export async function select(page: Page, find: string): Promise<void> {
  await toTheBeginning(page);
  await page.keyboard.press("Control+f");
  const field = page.locator("#editor .cm-search input[name=search]");
  await field.fill("");
  await field.pressSequentially(find);
  await page.keyboard.press("Enter");
  await page.locator("#editor .cm-searchMatch-selected").waitFor();
  await page.keyboard.press("Escape");
}

/** The text of a short cue sheet in its editor, which draws the lines that are near what is seen. */
export const sheetText = async (page: Page): Promise<string> => (await page.locator("#sheet-text .cm-line").allTextContents()).join("\n");

export const row = (page: Page, requirement: string): Locator => page.locator(`[data-requirement="${requirement}"]`);

/** What the accessibility rules find that is serious or worse, in the page or in a part of it. */
export async function serious(page: Page, within?: string): Promise<string[]> {
  const rules = new AxeBuilder({ page });
  const { violations } = await (within === undefined ? rules : rules.include(within)).analyze();
  return violations
    .filter(({ impact }) => impact === "serious" || impact === "critical")
    .map(({ id, help, nodes }) => `${id}: ${help}: ${nodes.slice(0, 4).map(({ html }) => html.slice(0, 160)).join(" | ")}`);
}

/** A picture of the page for people, outside of the repository. */
export async function shoot(page: Page, name: string): Promise<void> {
  const folder = process.env["SOUNDLINE_SHOTS"] ?? join(tmpdir(), "soundline-shots");
  mkdirSync(folder, { recursive: true });
  await page.screenshot({ path: join(folder, `${name}.png`) });
}

/** A WAV of one channel of 16 bits, of what `sample` tells at each time in seconds; its second argument gives noise from -1 to 1. */
export function wavOf(seconds: number, rate_hz: number, sample: (t_s: number, noise: () => number) => number): Buffer {
  const count = Math.round(seconds * rate_hz);
  const data = Buffer.alloc(44 + 2 * count);
  data.write("RIFF", 0);
  data.writeUInt32LE(36 + 2 * count, 4);
  data.write("WAVEfmt ", 8);
  data.writeUInt32LE(16, 16);
  data.writeUInt16LE(1, 20);
  data.writeUInt16LE(1, 22);
  data.writeUInt32LE(rate_hz, 24);
  data.writeUInt32LE(2 * rate_hz, 28);
  data.writeUInt16LE(2, 32);
  data.writeUInt16LE(16, 34);
  data.write("data", 36);
  data.writeUInt32LE(2 * count, 40);
  // A fixed generator, so that every run hears the same noise.
  let state = 20270402;
  const noise = (): number => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 31 - 1;
  };
  for (let i = 0; i < count; i += 1) {
    const value = Math.round(sample(i / rate_hz, noise));
    data.writeInt16LE(Math.max(-32768, Math.min(32767, value)), 44 + 2 * i);
  }
  return data;
}

/** A second of a rising tone in silence, as a 16-bit WAV file, so that a recording lies beside the plan. */
/** Noise with a rising tone of 0.7 s amid it, so that a recording lies beside the plan. */
export function wav(seconds: number, rate_hz: number, from_hz: number, to_hz: number): Buffer {
  const begin_s = Math.round(0.6 * seconds * rate_hz) / rate_hz;
  return wavOf(seconds, rate_hz, (t_s, noise) => {
    const t = t_s - begin_s;
    const inside = t >= 0 && t < 0.7;
    const phase = 2 * Math.PI * (from_hz * t + ((to_hz - from_hz) / (2 * 0.7)) * t * t);
    return 60 * noise() + (inside ? 6000 * Math.sin(phase) : 0);
  });
}
