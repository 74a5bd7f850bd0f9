// Sheets made by hand, which hold what no simulated match does: one cycle and forty-eight,
// twelve pins and eighteen, four jams in five stages, a log that stops or has gaps, names
// that try to be markup.

import assert from "node:assert/strict";
import { test } from "node:test";
import { pathToFileURL } from "node:url";
import { atOnce, each } from "./each.js";
import { Offences } from "./offences.js";
import { enlarged, labels, pictures, sideways, smallText } from "./probe.js";
import { site } from "./site.js";

// Names as long as these cannot all stand beside each other; that they stay inside is enough.
const crowdedByNames = new Set(["hostile"]);

test("every fixture's sheet fits every screen", atOnce, async (t) => {
  assert.ok(site.fixtures.size > 8);
  await each(t, site.fixtures, async (file, name) => {
    const page = await site.browser.newPage();
    const wrong = new Offences();
    page.on("console", (m) => wrong.add(`console ${m.type()}: ${m.text()}`));
    await page.goto(pathToFileURL(file).href);
    await page.evaluate(() => document.fonts.ready);
    wrong.add(...await page.evaluate(pictures));
    for (const width of [1280, 1000, 768, 390, 360]) {
      await page.setViewportSize({ width, height: 800 });
      wrong.where = String(width);
      for (const look of [sideways, labels, enlarged]) {
        const found = await page.evaluate(look);
        wrong.add(...found.filter((f) => !(crowdedByNames.has(name) && f.includes(" lies on "))));
      }
      wrong.add(...await page.evaluate(smallText, 12));
    }
    await page.close();
    wrong.none();
  });
});
