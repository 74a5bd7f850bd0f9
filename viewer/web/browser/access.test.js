// What readers who do not see the pages get: the rules of WCAG 2.2 A and AA as axe-core
// tests them, headings in order, and every picture in words and as a table.

import { test } from "node:test";
import { axe, rules, violations } from "./access.js";
import { atOnce, each } from "./each.js";
import { Offences } from "./offences.js";
import { headings, pictures } from "./probe.js";
import { rested, site } from "./site.js";

// Colours differ by scheme and what is shown by width: two runs see both of each.
const views = /** @type {const} */ ([[1280, "light"], [390, "dark"]]);

test("every page can be read without seeing it", atOnce, async (t) => {
  await each(t, [...site.pages, ...site.benches], async (address, name) => {
    const page = await site.browser.newPage();
    const wrong = new Offences();
    await page.goto(address);
    if (site.benches.has(name)) {
      await page.fill("#find", "p");
      await rested(page);
    }
    wrong.add(...await page.evaluate(headings), ...await page.evaluate(pictures));
    await page.evaluate(axe); // not as a script of the page, which its policy forbids
    for (const [width, colorScheme] of views) {
      await page.emulateMedia({ colorScheme });
      await page.setViewportSize({ width, height: 800 });
      wrong.where = `${width} ${colorScheme}`;
      wrong.add(...await page.evaluate(violations, rules));
    }
    await page.close();
    wrong.none();
  });
});
