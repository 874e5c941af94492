import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { idsOf, join, parts, placeOf, scan, withNumber, writtenAt } from "./scan.ts";

const demo = readFileSync(new URL("../../../plans/harrow-sound/plan.toml", import.meta.url), "utf8");

test("verif_ every key of the demo is found with its value as written", () => {
  const found = scan(demo);
  expect(writtenAt(found, "section.riser.length")?.raw).toBe('"92 m"');
  expect(writtenAt(found, "module.marker.position.from_top")?.raw).toBe('"6 m"');
  expect(writtenAt(found, 'topic."alert/call".at_most')?.raw).toBe('"20 per hour"');
  expect(writtenAt(found, "detector.upcall-upper.stages[3].hold_off")?.raw).toBe('"10 s"');
  expect(writtenAt(found, "supply.sun.panels.peak_power_each")?.raw).toBe('"60 W"');
  for (const one of found.written) expect(demo.slice(one.valueFrom, one.valueTo)).toBe(one.raw);
  // Each line that begins a table is a header, counted by another way.
  expect(found.headers.length).toBe(demo.split("\n").filter((line) => /^\[/.test(line)).length);
});

test("verif_ comments, strings and brackets within strings do not lead it astray", () => {
  const text = 'a = "x # [y]" # note\n[t."k/v"] # here\nb = [ { c = "1 m" }, # first\n  { c = "2 m" } ]\n"d e" = 5\n';
  const found = scan(text);
  expect(found.written.map(({ path, raw }) => [join(path), raw])).toEqual([
    ["a", '"x # [y]"'],
    ['t."k/v".b', '[ { c = "1 m" }, # first\n  { c = "2 m" } ]'],
    ['t."k/v".b[0].c', '"1 m"'],
    ['t."k/v".b[1].c', '"2 m"'],
    ['t."k/v"."d e"', "5"],
  ]);
});

test("verif_ a half-written text still gives what stands in it", () => {
  const found = scan('[module.a]\nloads = { x = "1 W"\n[span.b]\nlength = "3 m"\nfrom =\n');
  expect(writtenAt(found, "module.a.loads.x")?.raw).toBe('"1 W"');
  expect(writtenAt(found, "span.b.length")?.raw).toBe('"3 m"');
  expect(found.headers.map(({ path }) => join(path))).toEqual(["module.a", "span.b"]);
  for (const text of ["[", "a", "a =", 'a = "', "a = [", "a = {", "[[x", '"', "= 3", "a.=1", "]\n}"]) expect(() => scan(text)).not.toThrow();
});

test("verif_ things are found by their table, their key or what is below them", () => {
  const found = scan(demo);
  const at = placeOf(found, "requirement.budget");
  expect(demo.slice(at?.from, at?.to)).toBe("[requirement.budget]");
  expect(demo.slice(placeOf(found, "module.upper")?.from).startsWith("[module.upper]")).toBe(true);
  expect(demo.slice(placeOf(found, "module.upper.sensor.ear")?.from).startsWith("sensor.ear.calibrated")).toBe(true);
  expect(placeOf(found, "module.none")).toBeNull();
  expect(idsOf(found, "module")).toEqual(["module.buoy", "module.lower", "module.marker", "module.probe", "module.upper"]);
  expect(idsOf(found, "topic")[0]).toBe('topic."alert/call"');
  expect(parts('topic."alert/call".fields[2].from')).toEqual(["topic", "alert/call", "fields", "[2]", "from"]);
  expect(join(parts('topic."alert/call".fields[2].from'))).toBe('topic."alert/call".fields[2].from');
});

test("verif_ another number keeps unit and spread", () => {
  expect(withNumber('"0.42 W ± 10 %"', "0.5", "W")).toBe("0.5 W ± 10 %");
  expect(withNumber('"92 m"', "95", "m")).toBe("95 m");
  expect(withNumber("3", "4", "W")).toBe("4 W");
});
