import { defineConfig } from "vite";

// The page is served by firstpull itself, which keeps every hashed file for good.
export default defineConfig({
  base: "/",
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  build: {
    outDir: "../src/firstpull/web/static",
    emptyOutDir: true,
    target: "es2022",
    chunkSizeWarningLimit: 900,
    license: { fileName: "licences.md" },
  },
  server: { proxy: { "/api": "http://127.0.0.1:8321" } },
});
