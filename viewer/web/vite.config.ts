import { defineConfig } from "vitest/config";

// One script with a fixed name: the server links it by that name, and sends it with a
// request to ask again each time, so no hash is needed.
export default defineConfig({
  build: {
    outDir: "../dist",
    emptyOutDir: true,
    modulePreload: false,
    rollupOptions: { input: "src/app.ts", output: { entryFileNames: "app.js" } },
  },
  test: { include: ["src/**/*.test.ts"] }, // those in browser/ are run by node --test
});
