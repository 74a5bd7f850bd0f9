// The season of a robot: its parts log by a plain form, a mark picked by its letter, and two versions
// compared that were run in turns.

import assert from "node:assert/strict";
import { test } from "node:test";
import { axe, rules, violations } from "./access.js";
import { Offences } from "./offences.js";
import { enlarged, headings, labels, pictures, sideways, smallTargets, smallText } from "./probe.js";
import { demoSeason, site } from "./site.js";

test("an entry of the parts log is added and picked, with a script and without", async () => {
  for (const javaScriptEnabled of [true, false]) {
    const context = await site.browser.newContext({ javaScriptEnabled, viewport: { width: 1280, height: 800 } });
    const page = await context.newPage();
    await page.goto(`${site.url}/s/heron`);
    const text = `wider mouth ${javaScriptEnabled ? 1 : 2}`;
    await page.getByLabel("Day").fill("2031-04-05");
    await page.getByLabel("Kind").selectOption("part");
    await page.getByLabel("What was changed").fill(text);
    await page.getByRole("button", { name: "Add an entry" }).click();
    await page.waitForURL(/\/s\/heron#parts$/);
    const entry = page.getByRole("link", { name: text });
    await entry.last().click();
    await page.waitForURL(/part=[a-z]/);
    assert.ok((await page.locator(".part-list [aria-current]").innerText()).endsWith(text));
    await context.close();
  }
});

// The demo's crew tries two belts in the mouth on one afternoon, two runs of each and then the other.
test("two belts in turns are compared, with a script and without", async () => {
  const { url } = await demoSeason();
  for (const javaScriptEnabled of [true, false]) {
    const context = await site.browser.newContext({ javaScriptEnabled, viewport: { width: 1280, height: 800 } });
    const page = await context.newPage();
    await page.goto(`${url}/s/heron?part=a`);
    const [a, b] = [page.getByLabel("Version A"), page.getByLabel("Version B")];
    assert.deepEqual([await a.inputValue(), await b.inputValue()], ["soft belt in the mouth", "ribbed belt in the mouth"], "those that were in turns are there at once");
    await page.getByRole("button", { name: "Compare" }).click();
    await page.waitForURL(/part=a&a=soft\+belt\+in\+the\+mouth&b=ribbed\+belt\+in\+the\+mouth#trial$/);
    const answer = await page.locator("#trial").innerText();
    assert.match(answer, /Current of the mouth running free: \+1\.\d A with “ribbed belt in the mouth”\./);
    assert.match(answer, /soft belt in the mouth, 6 runs\s+B\s+ribbed belt in the mouth, 6 runs\s+5 changes from one to the other/);
    assert.match(answer, /however often you look; settled/);
    assert.match(answer, /not settled: about \d+ more runs, if it stays so/);
    assert.equal(await page.locator("#trial figure tbody tr").count(), 12, "every run is in the table of the picture");
    assert.match(await page.locator(".part-list [aria-current]").innerText(), /^a\b/, "the picked mark stays");

    await a.selectOption("ribbed belt in the mouth");
    await page.getByRole("button", { name: "Compare" }).click();
    await page.waitForURL(/a=ribbed/);
    assert.match(await page.getByRole("alert").innerText(), /^Nothing is compared: .* are the same entry of the parts log/);
    await context.close();
  }
});

test("the answer of a trial fits every screen, and readers get all of it", async () => {
  const { url } = await demoSeason();
  const page = await site.browser.newPage();
  const wrong = new Offences();
  await page.goto(`${url}/s/heron?a=soft+belt+in+the+mouth&b=ribbed+belt+in+the+mouth`);
  await page.locator("#trial summary").click();
  for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
    await page.emulateMedia({ colorScheme });
    for (const width of [1280, 1000, 768, 641, 390, 360]) {
      await page.setViewportSize({ width, height: 800 });
      await page.evaluate(() => document.fonts.ready);
      wrong.where = `${width} ${colorScheme}`;
      for (const look of [sideways, labels, enlarged, headings, pictures]) wrong.add(...await page.evaluate(look));
      wrong.add(...await page.evaluate(smallText, 12));
      wrong.add(...await page.evaluate(smallTargets, width <= 640 ? 44 : 24));
    }
    await page.evaluate(axe);
    wrong.add(...await page.evaluate(violations, rules));
  }
  await page.emulateMedia({ media: "print" });
  assert.ok(await page.locator("#trial .answer").isVisible());
  assert.ok(!await page.getByRole("button", { name: "Compare" }).isVisible(), "paper has no buttons");
  assert.ok(await page.getByRole("heading", { name: "Cycle time" }).isVisible(), "and each picture its name");
  await page.close();
  wrong.none();
});
