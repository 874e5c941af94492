import type { Quantity, Ruling } from "./documents.ts";

const THIN = " ";

/** Most digits behind the point. */
const MOST_AFTER = 12;

/**
 * Three digits that count, four where the number is large, and none lost before the point. Where it stands beside another value it has as many more as tell the two
 * apart.
 */
export function digits(value: number, beside?: number): string {
  if (!Number.isFinite(value)) return "not a number";
  const few = written(value, 0);
  if (beside === undefined || beside === value || !Number.isFinite(beside)) return few;
  let more = 0;
  while (more < MOST_AFTER && written(value, more) === written(beside, more)) more += 1;
  return written(value, more);
}

/** With so many digits more than are usual. */
function written(value: number, more: number): string {
  const size = Math.abs(value);
  if (size !== 0 && (size < 1e-3 || size >= 1e7)) return value.toExponential(Math.min(2 + more, 15)).replace(/e\+?(-?)(\d+)/, (_, sign: string, power: string) => ` × 10${raise(sign + power)}`).replace("-", "−");
  const usual = size >= 1000 || size === 0 ? 0 : size >= 100 ? 1 : size >= 1 ? 2 : 2 - Math.floor(Math.log10(size));
  const after = usual + more;
  const fixed = value.toFixed(Math.min(after, 20));
  const short = fixed.includes(".") ? fixed.replace(/\.?0+$/, "") : fixed;
  const [whole = "", rest] = (short === "-0" ? "0" : short).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+(?!\d))/g, whole.replace("-", "").length > 4 ? THIN : "");
  return (rest === undefined ? grouped : `${grouped}.${rest}`).replace("-", "−");
}

function raise(power: string): string {
  return [...power].map((c) => (c === "-" ? "⁻" : "⁰¹²³⁴⁵⁶⁷⁸⁹"[Number(c)])).join("");
}

const MONEY = /^[A-Z]{3}$/;

/** The unit in which people read a span of time of this size, with its seconds. */
function clock(size: number): [string, number] {
  if (size >= 3 * 86400) return ["d", 86400];
  if (size >= 7200) return ["h", 3600];
  if (size >= 120) return ["min", 60];
  if (size >= 0.1 || size === 0) return ["s", 1];
  return size >= 1e-4 ? ["ms", 1e-3] : ["µs", 1e-6];
}

/** `beside`: a value from which it is told apart, as a value from its limit. */
export function quantity(one: Quantity | null | undefined, beside?: Quantity | null): string {
  if (one === null || one === undefined) return "unknown";
  const other = beside?.unit === one.unit ? beside.value : undefined;
  if (one.unit === "s") {
    const [unit, of] = clock(Math.abs(one.value));
    return `${digits(one.value / of, other === undefined ? undefined : other / of)} ${unit}`;
  }
  if (MONEY.test(one.unit)) return `${money(one.value, other)} ${one.unit}`;
  const number = digits(one.value, other);
  return `${number} ${unitOf(number, one.unit)}`;
}

/** Units that count things; of one thing they are told in the singular. */
const COUNTED = /^(failure|hydrophone|message|module|month|point|step|year)s\b/;

/** The unit as it stands behind this number: "1 failure", "2 failures". */
function unitOf(number: string, unit: string): string {
  if (!/^−?1$/.test(number) || !COUNTED.test(unit)) return unit;
  return unit.replace(COUNTED, "$1").replace(/\bthat (leave|run)\b/, "that $1s").replace(/\bthat are\b/, "that is");
}

/** Longest unit that stands beside a number of a heading. */
const LONGEST_BESIDE = 10;

/** A change for a heading: a unit that is a sentence of its own is told below it, and here the number alone. */
export function changeInShort(one: Quantity): string {
  const whole = change(one);
  return one.unit.length <= LONGEST_BESIDE ? whole : `${one.value > 0 ? "+" : ""}${digits(one.value)}`;
}

/** Two digits behind the point, and more where it is less than one of the second, or would be taken for the other value. */
function money(value: number, beside?: number): string {
  const cents = value.toFixed(2);
  const lost = value !== 0 && Math.abs(value) < 0.01;
  const alike = beside !== undefined && beside !== value && beside.toFixed(2) === cents;
  return lost || alike ? digits(value, beside) : cents.replace("-", "−");
}

export function withUnit(value: number | null | undefined, unit: string): string {
  return value === null || value === undefined ? "unknown" : quantity({ value, unit });
}

/** With its sign, as a change. */
export function change(one: Quantity): string {
  return one.value > 0 ? `+${quantity(one)}` : quantity(one);
}

export const RULINGS: readonly Ruling[] = ["broken", "unknown", "marginal", "provisional", "met"];

const two = (n: number): string => String(n).padStart(2, "0");

export function utc(at: Date): string {
  return `${at.getUTCFullYear()}-${two(at.getUTCMonth() + 1)}-${two(at.getUTCDate())} ${two(at.getUTCHours())}:${two(at.getUTCMinutes())}:${two(at.getUTCSeconds())} UTC`;
}

export function local(at: Date): string {
  return `${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())} local`;
}

/** Seconds from a beginning, as minutes and seconds. */
export function sinceStart(seconds: number): string {
  const sign = seconds < 0 ? "−" : "";
  const tenths = Math.round(Math.abs(seconds) * 10);
  const whole = Math.floor(tenths / 10);
  const h = Math.floor(whole / 3600);
  const rest = `${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}.${tenths % 10}`;
  return h > 0 ? `${sign}${h}:${rest}` : `${sign}${rest}`;
}

export function dayOfYear(day: number): string {
  const at = new Date(Date.UTC(2027, 0, 1 + day));
  return `${at.getUTCDate()} ${["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"][at.getUTCMonth()]}`;
}

/** What a mistake says beside its message, in one line; a label that only points says nothing without its place. */
export function besides(one: { label?: string | null; help: string | null }): string {
  return [one.label, one.help].filter((words) => words != null && words !== "" && words !== "here").join("; ");
}

/** The last part of a path, for a label: `module.upper` is `upper`. */
export function short(path: string): string {
  return path.replace(/^[a-z_]+\./, "");
}
