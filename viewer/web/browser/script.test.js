// What the script adds, and that nothing is missing without it.

import assert from "node:assert/strict";
import { test } from "node:test";
import { sheetOf, site } from "./site.js";

/** The address of a sheet with several findings. */
const sheet = site.url + sheetOf({ event: "millbrook-open", match: "q14", robot: "heron" });

// A video is played from the device, which needs a script; its place is not there without.
test("every page says the same without a script", async (t) => {
  const context = await site.browser.newContext({ javaScriptEnabled: false });
  const [without, with_] = [await context.newPage(), await site.browser.newPage()];
  for (const [name, address] of site.pages) {
    await t.test(name, async () => {
      await Promise.all([without.goto(address), with_.goto(address)]);
      await with_.evaluate(() => document.getElementById("video")?.remove());
      const said = await without.locator("main").innerText();
      assert.ok(said.length > 20);
      assert.equal(said, await with_.locator("main").innerText());
    });
  }
  await Promise.all([context.close(), with_.close()]);
});

test("a tick is kept on this device, for this sheet alone", async () => {
  const page = await site.browser.newPage();
  await page.goto(sheet);
  const boxes = page.locator('input[type="checkbox"]');
  assert.ok(await boxes.count() > 1);
  await boxes.nth(1).check();
  await page.reload();
  assert.equal(await boxes.nth(1).isChecked(), true);
  assert.equal(await boxes.nth(0).isChecked(), false);
  await page.goto(site.url + sheetOf({ event: "samples", match: "jam-stuck", robot: "heron" }));
  assert.equal(await page.locator("input:checked").count(), 0);
  await page.close();
});

test("figures lead to findings", async () => {
  const page = await site.browser.newPage({ viewport: { width: 390, height: 500 } });
  await page.goto(sheet);
  const findings = await page.locator("li.finding").count();
  assert.ok(findings >= 2 && findings < 9);
  for (const rank of [2, 1]) {
    await page.keyboard.press(String(rank));
    assert.equal(await page.evaluate(() => document.activeElement?.id), `finding-${rank}`);
    assert.ok(await page.locator(`#finding-${rank} h3`).evaluate((el) => {
      const box = el.getBoundingClientRect();
      return box.top >= -1 && box.bottom <= window.innerHeight + 1;
    }), `finding ${rank} is in sight`);
  }
  await page.keyboard.press("9");
  assert.equal(await page.evaluate(() => document.activeElement?.id), "finding-1", "there is no ninth");
  await page.close();
});

test("arrows go through the rows of the board, and Enter opens one", async () => {
  const page = await site.browser.newPage();
  await page.goto(site.url + "/");
  const focused = () => page.evaluate(() => document.activeElement?.getAttribute("href"));
  const rows = await page.locator(".matches tbody tr:not(.day) th a").evaluateAll((links) => links.map((a) => a.getAttribute("href")));
  assert.equal(rows.length, site.matches.length, "all but the newest, and the damaged one");
  for (const row of rows) {
    await page.keyboard.press("ArrowDown");
    assert.equal(await focused(), row);
  }
  await page.keyboard.press("ArrowUp");
  assert.equal(await focused(), rows.at(-2));
  await page.keyboard.press("Enter");
  await page.waitForURL(site.url + rows.at(-2));
  await page.close();
});

test("a whole row opens its match", async () => {
  const page = await site.browser.newPage();
  await page.goto(site.url + "/");
  const row = page.locator(".matches tbody tr", { has: page.locator('a[href$="/q11/heron"]') });
  await row.scrollIntoViewIfNeeded();
  const ribbon = await row.locator("td.ribbon").boundingBox();
  assert.ok(ribbon);
  await page.mouse.click(ribbon.x + ribbon.width / 2, ribbon.y + ribbon.height / 2);
  await page.waitForURL(/\/q11\/heron$/);
  await page.close();
});

test("pointing at a pin, a row or a finding lights its mates", async () => {
  const page = await site.browser.newPage();
  const lit = () => page.locator(".lit").evaluateAll((all) => [...new Set(all.map((el) => el.id || el.getAttribute("href")?.replace(/.*#/, "#")))].sort());
  await page.goto(sheet);
  await page.locator(".picture.wide a.pin[href$='#finding-2'] text").first().hover();
  assert.deepEqual(await lit(), ["#finding-2", "finding-2"]);
  await page.locator("#finding-1 h3").hover();
  assert.deepEqual(await lit(), ["#finding-1", "finding-1"]);
  await page.locator("h1").hover();
  assert.deepEqual(await lit(), []);
  await page.locator(".picture.wide a.pin[href$='#finding-1']").first().focus();
  assert.deepEqual(await lit(), ["#finding-1", "finding-1"]);

  await page.goto(site.url + "/");
  await page.locator(".tops h2 a").first().hover();
  assert.deepEqual(await lit(), ["#finding-1"]);
  assert.ok(await page.locator("a.pin.lit:visible").count() > 0, "its pins on the board's ribbon");
  await page.close();
});

test("a pin leads to its finding", async () => {
  const page = await site.browser.newPage({ viewport: { width: 390, height: 800 } });
  await page.goto(site.url + "/");
  await page.locator(".picture.narrow a.pin[href$='#finding-1'] text").first().click();
  await page.waitForURL(sheet + "#finding-1");
  assert.ok(await page.locator("#finding-1 h3").isVisible());
  await page.close();
});

test("Print prints", async () => {
  const page = await site.browser.newPage();
  await page.addInitScript(() => { window.print = () => document.documentElement.setAttribute("data-printed", ""); });
  await page.goto(sheet);
  await page.getByRole("link", { name: "Print" }).click();
  assert.equal(await page.locator("html[data-printed]").count(), 1);
  assert.equal(page.url(), sheet, "the address stays");
  await page.close();
});

test("a page that is open says that a newer match is in, and moves nothing", async () => {
  const page = await site.browser.newPage({ viewport: { width: 390, height: 800 } });
  await page.clock.install();
  await page.goto(site.url + "/");
  await page.route("**/newest.json", (route) => route.fulfill({ json: { token: "q15", match: "q15 heron", href: "/m/millbrook-open/q11/heron" } }));
  await page.evaluate(() => window.scrollTo(0, 300));
  const top = () => page.locator(".tops").evaluate((el) => el.getBoundingClientRect().top);
  const before = await top();
  await page.clock.runFor(11_000);
  await page.getByRole("status").getByText("A newer match is in: q15 heron.").waitFor();
  assert.equal(await top(), before);
  await page.getByRole("link", { name: "Show it" }).click();
  await page.waitForURL(/\/q11\/heron$/);
  await page.close();
});

test("a question mark lists the keys", async () => {
  const page = await site.browser.newPage();
  await page.goto(sheet);
  await page.keyboard.press("?");
  assert.ok(await page.getByRole("dialog", { name: "Keys" }).isVisible());
  await page.keyboard.press("Escape");
  assert.equal(await page.getByRole("dialog").isVisible(), false);
  await page.close();
});
