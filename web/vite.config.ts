import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

// Nothing is written inline: the server's content security policy lets only files of its own through.
export default defineConfig({
  plugins: [svelte()],
  base: "/",
  build: { outDir: "built/page", emptyOutDir: true, target: "es2022", assetsInlineLimit: 0, modulePreload: { polyfill: false }, chunkSizeWarningLimit: 900 },
  test: { include: ["src/**/*.test.ts"] },
});
