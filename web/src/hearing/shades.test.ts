import { expect, test } from "vitest";
import { lossShare, shade } from "./shades.ts";

test("verif_ the more is lost, the darker, without a step back", () => {
  const light = (share: number): number => {
    const [r, g, b] = shade(share);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  for (let i = 1; i <= 100; i += 1) expect(light(i / 100)).toBeLessThanOrEqual(light((i - 1) / 100) + 0.5);
  expect([lossShare(0), lossShare(70), lossShare(500)]).toEqual([0, 0.5, 1]);
});
