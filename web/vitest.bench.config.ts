import { defineConfig } from "vitest/config";

export default defineConfig({ test: { include: ["bench/**/*.bench-run.ts"], fileParallelism: false, testTimeout: 300_000, hookTimeout: 120_000 } });
