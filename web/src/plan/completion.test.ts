import { expect, test } from "vitest";
import type { JsonSchema } from "../api.ts";
import { complete } from "./completion.ts";

const root: JsonSchema = {
  $defs: { length: { description: "a length", examples: ["150 m"] } },
  properties: {
    span: {
      description: "cables",
      additionalProperties: {
        properties: {
          from: { description: "one end", examples: ["module.ID"] },
          length: { allOf: [{ $ref: "#/$defs/length" }], description: "its length" },
          contacts: { description: "contacts", properties: { aged: { description: "when aged", examples: ["0.12 ohm"] } } },
        },
      },
    },
    requirement: { additionalProperties: { properties: { that: { enum: ["voltage", "delay"] } } } },
    detector: { additionalProperties: { properties: { stages: { items: { properties: { level: { enum: ["rms", "peak"] }, hold_off: {} } } } } } },
    module: { additionalProperties: {} },
  },
};

function at(text: string): { kind: string; words: string[] } | null {
  const found = complete(root, text.replace("|", ""), text.indexOf("|"));
  return found === null ? null : { kind: found.kind, words: found.words.map(({ word }) => word) };
}

test("verif_ keys are those of the table, without those that are there", () => {
  expect(at('[span.a]\nfrom = "module.x"\n|\n')).toEqual({ kind: "key", words: ["length", "contacts"] });
  expect(at("[span.a]\ncontacts = { a|")).toEqual({ kind: "key", words: ["aged"] });
  expect(at("[detector.d]\nstages = [\n  { h|")).toEqual({ kind: "key", words: ["level", "hold_off"] });
});

test("verif_ values are the closed choices, examples, or ids of the plan", () => {
  expect(at("[requirement.r]\nthat = |")).toEqual({ kind: "value", words: ['"voltage"', '"delay"'] });
  expect(at("[span.a]\nlength = |")).toEqual({ kind: "value", words: ['"150 m"'] });
  expect(at('[span.a]\nfrom = "|\n[module.buoy]\n[module.lower]\n')).toEqual({ kind: "value", words: ['"module.buoy"', '"module.lower"'] });
  expect(at('[detector.d]\nstages = [ { level = "|" } ]')).toEqual({ kind: "value", words: ['"rms"', '"peak"'] });
});

test("verif_ headers complete, comments do not", () => {
  expect(at("[s|")).toEqual({ kind: "table", words: ["span", "requirement", "detector", "module"] });
  expect(at("[span.a]\n# fr|")).toBeNull();
});
