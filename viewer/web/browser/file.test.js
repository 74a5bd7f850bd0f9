// report.html is mailed, copied to a stick and opened without a server: it reaches for
// nothing and says what the served sheet says.

import assert from "node:assert/strict";
import { stat } from "node:fs/promises";
import { join } from "node:path";
import { test } from "node:test";
import { pathToFileURL } from "node:url";
import { atOnce, each } from "./each.js";
import { Offences } from "./offences.js";
import { enlarged, headings, labels, pictures, sideways, smallText } from "./probe.js";
import { sheetOf, site } from "./site.js";

const most = 600_000; // bytes

test("every report.html stands alone", atOnce, async (t) => {
  await each(t, site.matches.map((m) => /** @type {const} */ ([sheetOf(m), m])), async (match) => {
    const name = join(match.folder, "report.html");
    const address = pathToFileURL(name).href;
    const page = await site.browser.newPage();
    const wrong = new Offences();
    await page.route("**", (route) => {
      if (route.request().url() === address) return route.continue();
      wrong.add(`asks ${route.request().url()}`);
      return route.abort();
    });
    page.on("console", (m) => wrong.add(`console ${m.type()}: ${m.text()}`));
    await page.goto(address);
    await page.evaluate(() => document.fonts.ready);
    if (!await page.evaluate(() => document.fonts.check("12px Archivo"))) wrong.add("the face is not inside");
    for (const width of [1280, 768, 360]) {
      await page.setViewportSize({ width, height: 800 });
      wrong.where = String(width);
      for (const look of [sideways, labels, enlarged, headings, pictures]) wrong.add(...await page.evaluate(look));
      wrong.add(...await page.evaluate(smallText, 12));
    }
    const { size } = await stat(name);
    if (size >= most) wrong.add(`${size} bytes`);
    wrong.none();
    await page.unroute("**");

    const said = await page.locator("main").innerText();
    await page.goto(site.url + sheetOf(match));
    // What needs a server or a script is not in the file: forms of the crew, the video, ways to the bench.
    await page.evaluate(() => document.querySelectorAll("form.crew, #notes, #video, .to-video, .margin > .screen").forEach((f) => f.remove()));
    const served = (await page.locator("main").innerText()).replace(". Tick what is done; ticks stay on this device", "");
    assert.equal(said, served);
    await page.close();
  });
});
