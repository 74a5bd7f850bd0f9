// The rules of WCAG 2.2 A and AA, as axe-core tests them inside a page.

import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";

/** The library's text, to be run inside a page before violations. */
export const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** The rules by axe-core's tags. */
export const rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];

/** Runs inside the page, where axe-core is loaded. @param {string[]} tags */
export async function violations(tags) {
  const { axe } = /** @type {typeof globalThis & { axe: typeof import("axe-core") }} */ (globalThis);
  const found = await axe.run({ runOnly: { type: "tag", values: tags }, resultTypes: ["violations"] });
  return found.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(" | ")}`);
}
