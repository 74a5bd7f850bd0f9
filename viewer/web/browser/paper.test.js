// Paper: A4 and US Letter (ISO 216 and ANSI/ASME Y14.1), two pages at most, as many as the
// sheet says, and no text under 8 points (10.67 px).

import assert from "node:assert/strict";
import { test } from "node:test";
import { pathToFileURL } from "node:url";
import { atOnce, each } from "./each.js";
import { Offences } from "./offences.js";
import { labels, smallText } from "./probe.js";
import { sheetOf, site } from "./site.js";

const sheets = /** @type {const} */ ([["A4", 210], ["Letter", 215.9]]);
const margins = 24; // mm, of both sides together, by the style sheet
const pxPerMM = 96 / 25.4;

/** The pages of a PDF, counted by their page objects. @param {Buffer} pdf */
const pagesOf = (pdf) => pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;

test("every sheet fits its paper", atOnce, async (t) => {
  const all = new Map([
    ...site.matches.map((m) => /** @type {const} */ ([sheetOf(m), site.url + sheetOf(m)])),
    ...[...site.fixtures].filter(([name]) => name !== "hostile").map(([name, file]) => /** @type {const} */ ([name, pathToFileURL(file).href])),
  ]);
  await each(t, all, async (address) => {
    const page = await site.browser.newPage();
    const wrong = new Offences();
    await page.goto(address);
    await page.emulateMedia({ media: "print" });
    const said = await page.locator(".running.paper").first().innerText();
    const pages = Number(/1 of ([12])$/.exec(said.trim())?.[1]);
    for (const [format, width] of sheets) {
      wrong.where = format;
      await page.setViewportSize({ width: Math.floor((width - margins) * pxPerMM), height: 1000 });
      wrong.add(...await page.evaluate(labels), ...await page.evaluate(smallText, 10.67));
      const got = pagesOf(await page.pdf({ format, preferCSSPageSize: true, printBackground: true }));
      if (got !== pages) wrong.add(`${got} pages where the sheet says ${pages}`);
    }
    await page.close();
    wrong.none();
  });
});

test("paper shows the boxes to tick and no links of the screen", async () => {
  const page = await site.browser.newPage();
  await page.goto(site.url + sheetOf({ event: "millbrook-open", match: "q14", robot: "heron" }));
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.locator("nav").isVisible(), false);
  assert.ok(await page.locator('input[type="checkbox"]:visible').count() > 0);
  assert.ok(await page.getByText("Checked by").first().isVisible());
  await page.close();
});

test("the board says on paper whose match it is, and keeps what is for the screen", async () => {
  const page = await site.browser.newPage();
  await page.goto(site.url);
  await page.emulateMedia({ media: "print" });
  const newest = page.locator(".newest");
  for (const said of [".name", ".robot", "#ended"]) assert.ok(await newest.locator(said).isVisible(), said);
  for (const gone of ["nav", ".find", ".open", ".bring"]) assert.equal(await page.locator(gone).first().isVisible(), false, gone);
  await page.close();
});

// Printing has no next frame: what paper shows was drawn while its width was told.
test("the bench is drawn anew for paper, in its width and on white, and back for the screen", async () => {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 900 }, colorScheme: "dark" });
  await page.goto(`${site.url}/t/millbrook-open/q14/heron`);
  await page.waitForFunction(() => document.getElementById("bench")?.dataset["state"] === "rested");
  await page.evaluate(() => {
    /** @type {object[]} */
    const seen = [];
    Object.assign(globalThis, { seen });
    matchMedia("print").addEventListener("change", () => { // called after the bench's own
      const canvas = /** @type {HTMLCanvasElement} */ (document.querySelector("canvas.plots"));
      const [r, g, b] = canvas.getContext("2d")?.getImageData(2, 2, 1, 1).data ?? [];
      const strips = /** @type {HTMLElement} */ (document.getElementById("strips"));
      seen.push({ print: matchMedia("print").matches, wide: strips.clientWidth, end: canvas.offsetLeft + canvas.offsetWidth, paper: `${r} ${g} ${b}`, scroll: document.documentElement.scrollWidth });
    });
  });
  await page.pdf({ format: "A4", preferCSSPageSize: true, printBackground: true });
  await page.waitForFunction(() => Reflect.get(globalThis, "seen").length === 2);
  const [paper, screen] = await page.evaluate(() => Reflect.get(globalThis, "seen"));
  assert.equal(paper.print, true);
  assert.ok(Math.abs(paper.wide - (210 - margins) * pxPerMM) < 2, `${paper.wide} px wide`);
  assert.ok(paper.end <= paper.wide && paper.end > paper.wide - 4, `drawn to ${paper.end} of ${paper.wide}`);
  assert.equal(paper.paper, "255 255 255");
  assert.equal(screen.print, false);
  assert.notEqual(screen.paper, "255 255 255");
  assert.ok(screen.wide > 1000 && await page.locator(".frame").isVisible());
  await page.close();
});
