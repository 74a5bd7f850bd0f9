// Every page at every width, light and dark: nothing runs over, nothing is too small to
// read or to hit, and the browser has nothing to complain about.
//
// 12 px and the sizes of targets are the project's own (24 px is WCAG 2.2, 2.5.8; 44 px is
// common practice for fingers).

import { after, before, test } from "node:test";
import { Offences } from "./offences.js";
import { labels, sideways, smallTargets, smallText } from "./probe.js";
import { openSite } from "./site.js";

const widths = [1280, 768, 390, 360];
const phone = 640;

/** @type {import("./site.js").Site} */
let site;
before(async () => { site = await openSite(); });
after(() => site?.close());

test("every page fits every screen", async (t) => {
  for (const path of site.paths) {
    await t.test(path, async () => {
      const page = await site.browser.newPage();
      const wrong = new Offences();
      page.on("console", (m) => { if (m.location().url !== site.url + path) wrong.add(`console ${m.type()}: ${m.text()}`); });
      page.on("pageerror", (e) => wrong.add(`script: ${e.message}`));
      page.on("request", (r) => { if (!r.url().startsWith(site.url)) wrong.add(`asks ${r.url()}`); });
      page.on("response", (r) => { if (r.status() >= 400 && r.url() !== site.url + path) wrong.add(`${r.status()} ${r.url()}`); });
      await page.goto(site.url + path);
      for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
        await page.emulateMedia({ colorScheme });
        for (const width of widths) {
          await page.setViewportSize({ width, height: 800 });
          await page.evaluate(() => document.fonts.ready);
          wrong.where = `${width} ${colorScheme}`;
          for (const look of [sideways, labels, smallText]) wrong.add(...await page.evaluate(look));
          wrong.add(...await page.evaluate(smallTargets, width <= phone ? 44 : 24));
        }
      }
      await page.close();
      wrong.none();
    });
  }
});
