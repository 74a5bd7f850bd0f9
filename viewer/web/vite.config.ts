import { defineConfig } from "vitest/config";

// Scripts with fixed names, for every page and for the bench, of which early.js is run first: the server links them by
// these names, and sends them with a request to ask again each time, so no hash is needed.
export default defineConfig({
  build: {
    outDir: "../dist",
    emptyOutDir: true,
    modulePreload: false,
    rollupOptions: { input: ["src/app.ts", "src/bench.ts", "src/early.ts"], output: { entryFileNames: "[name].js", chunkFileNames: "[name].js" } },
  },
  test: { include: ["src/**/*.test.ts"] }, // those in browser/ are run by node --test
});
