// Paper: A4 and US Letter (ISO 216 and ANSI/ASME Y14.1), two pages at most, as many as the
// sheet says, and no text under 8 points (10.67 px).

import assert from "node:assert/strict";
import { test } from "node:test";
import { pathToFileURL } from "node:url";
import { Offences } from "./offences.js";
import { labels, smallText } from "./probe.js";
import { sheetOf, site } from "./site.js";

const sheets = /** @type {const} */ ([["A4", 210], ["Letter", 215.9]]);
const margins = 24; // mm, of both sides together, by the style sheet
const pxPerMM = 96 / 25.4;

/** The pages of a PDF, counted by their page objects. @param {Buffer} pdf */
const pagesOf = (pdf) => pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;

test("every sheet fits its paper", async (t) => {
  const all = new Map([
    ...site.matches.map((m) => /** @type {const} */ ([sheetOf(m), site.url + sheetOf(m)])),
    ...[...site.fixtures].filter(([name]) => name !== "hostile").map(([name, file]) => /** @type {const} */ ([name, pathToFileURL(file).href])),
  ]);
  for (const [name, address] of all) {
    await t.test(name, async () => {
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
  }
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
