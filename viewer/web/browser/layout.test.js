// Every page at every width, light and dark: nothing runs over, nothing is too small to
// read or to hit, and the browser has nothing to complain about.
//
// 12 px and the sizes of targets are the project's own (24 px is WCAG 2.2, 2.5.8; 44 px is
// common practice for fingers).

import { test } from "node:test";
import { atOnce, each } from "./each.js";
import { Offences } from "./offences.js";
import { enlarged, labels, sideways, smallTargets, smallText } from "./probe.js";
import { rested, site } from "./site.js";

const widths = [1280, 1000, 768, 641, 390, 360];
const phone = 640;

test("every page fits every screen", atOnce, async (t) => {
  await each(t, [...site.pages, ...site.benches], async (address, name) => {
    const page = await site.browser.newPage();
    const wrong = new Offences();
    page.on("console", (m) => {
      const itself = m.text().startsWith("Failed to load resource") && m.location().url === address; // a page may be a 404
      if (!itself) wrong.add(`console ${m.type()}: ${m.text()}`);
    });
    page.on("pageerror", (e) => wrong.add(`script: ${e.message}`));
    page.on("request", (r) => { if (!r.url().startsWith(new URL(address).origin)) wrong.add(`asks ${r.url()}`); });
    page.on("response", (r) => { if (r.status() >= 400 && r.url() !== address) wrong.add(`${r.status()} ${r.url()}`); });
    await page.goto(address);
    for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
      await page.emulateMedia({ colorScheme });
      for (const width of widths) {
        await page.setViewportSize({ width, height: 800 });
        await page.evaluate(() => document.fonts.ready);
        if (site.benches.has(name)) await rested(page);
        wrong.where = `${width} ${colorScheme}`;
        for (const look of [sideways, labels, enlarged]) wrong.add(...await page.evaluate(look));
        wrong.add(...await page.evaluate(smallText, 12));
        wrong.add(...await page.evaluate(smallTargets, width <= phone ? 44 : 24));
      }
    }
    await page.close();
    wrong.none();
  });
});
