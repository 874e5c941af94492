import { expect, test } from "vitest";
import type { Requirement, Ruling, Verdict } from "../documents.ts";
import { bar, stayBelow, worstFirst, worstOf } from "./scale.ts";

function verdict(ruling: Ruling, value: number, limit: number, margin: number, unit = "m"): Verdict {
  return { subject: "x", ruling, why: "", value: { value, unit }, limit: { value: limit, unit }, margin: { value: margin, unit } };
}
const asked = (id: string, must: string, ...verdicts: Verdict[]): Requirement => ({ id, must, ruling: verdicts[0]?.ruling ?? "unknown", sentence: "", source: null, verdicts });

test("verif_ the side on which a requirement holds follows from value, limit and margin", () => {
  expect(stayBelow(37, 45, 8)).toBe(true);
  expect(stayBelow(50, 45, -5)).toBe(true);
  expect(stayBelow(113, 20, 93)).toBe(false);
  expect(stayBelow(10, 20, -10)).toBe(false);
  expect(stayBelow(0, 0, 0)).toBeNull();
});

test("verif_ a bar keeps all its marks within it and in their order", () => {
  for (const one of [verdict("met", 37, 45, 8), verdict("broken", 60, 45, -15), verdict("met", 113, 20, 93), verdict("met", -100, -80, 20), verdict("met", 0, 0, 0)]) {
    const drawn = bar(one, null);
    expect(drawn).not.toBeNull();
    if (drawn === null) continue;
    for (const at of [drawn.zero, drawn.value, drawn.limit]) expect(at >= 0 && at <= 1).toBe(true);
    const [value, limit] = [one.value?.value ?? 0, one.limit?.value ?? 0];
    expect(Math.sign(drawn.value - drawn.limit)).toBe(Math.sign(value - limit));
  }
  const spread = bar(verdict("met", 37, 45, 8), { low: { value: 3, unit: "m" }, high: { value: 12, unit: "m" } });
  // A margin of 3 to 12 below a limit of 45 is a value of 33 to 42, about the value of 37.
  expect((spread?.spread?.from ?? 1) < (spread?.value ?? 0) && (spread?.spread?.to ?? 0) > (spread?.value ?? 1) && (spread?.spread?.to ?? 1) < (spread?.limit ?? 0)).toBe(true);
  expect(bar({ ...verdict("met", 1, 2, 1), limit: { value: 2, unit: "ft" } }, null)).toBeNull();
});

test("verif_ worst first: broken, unknown, marginal, provisional, met; then what is left", () => {
  const order = worstFirst([
    asked("d", "shall", verdict("met", 10, 45, 35)),
    asked("c", "shall", verdict("met", 40, 45, 5)),
    asked("u", "shall", { subject: "x", ruling: "unknown", why: "" }),
    asked("b", "should", verdict("broken", 90, 45, -45)),
    asked("a", "shall", verdict("broken", 46, 45, -1)),
    asked("m", "shall", verdict("marginal", 44, 45, 1)),
    asked("p", "shall", verdict("provisional", 44, 45, 1)),
  ]);
  expect(order.map(({ id }) => id)).toEqual(["a", "b", "u", "m", "p", "c", "d"]);
  expect(worstOf(asked("x", "shall", verdict("met", 10, 45, 35), verdict("broken", 50, 45, -5)))?.value?.value).toBe(50);
});
