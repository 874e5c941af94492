import { expect, test } from "vitest";
import type { Requirement, Ruling, Verdict } from "../documents.ts";
import { askedOf, names } from "./subjects.ts";

const verdict = (subject: string, ruling: Ruling, value: number): Verdict => ({ subject, ruling, why: "", margin: { value, unit: "V" }, value: { value: 20, unit: "V" }, limit: { value: 18, unit: "V" } });
const one = (id: string, verdicts: Verdict[]): Requirement => ({ id, must: "shall", ruling: verdicts[0]?.ruling ?? "unknown", sentence: "", source: null, verdicts });

test("verif_ a subject names a thing and what is of it, and no other of a longer name", () => {
  expect(names("module.upper.sensor.ear full scale", "module.upper")).toBe(true);
  expect(names("detector.a to module.upper", "module.upper")).toBe(true);
  expect(names("module.upper-2", "module.upper")).toBe(false);
  expect(names("the line", "module.upper")).toBe(false);
});

test("verif_ of a requirement that is about many things a thing has the verdict that is about it", () => {
  const all = [one("voltage", [verdict("module.buoy", "broken", -1), verdict("module.lower", "met", 12), verdict("module.lower", "met", 9)]), one("other", [verdict("module.buoy", "met", 1)])];
  const [asked, ...more] = askedOf(all, ["voltage"], "module.lower");
  expect(more).toEqual([]);
  expect(asked?.verdict?.margin?.value).toBe(9);
  expect(asked?.worse?.subject).toBe("module.buoy");
  expect(askedOf(all, ["voltage"], "module.buoy")[0]?.worse).toBeNull();
  // One that names it by another way has its worst verdict.
  expect(askedOf(all, ["other"], "module.lower")[0]?.verdict?.subject).toBe("module.buoy");
});
