import { defineConfig } from "vitest/config";

// The page in a browser on the real server: one server, one browser, one test after the other.
export default defineConfig({
  test: { include: ["tests/**/*.spec.ts"], fileParallelism: false, testTimeout: 180_000, hookTimeout: 60_000, bail: 0 },
});
