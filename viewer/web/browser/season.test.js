// The season of a robot: its parts log by a plain form, and a mark picked by its letter.

import assert from "node:assert/strict";
import { test } from "node:test";
import { site } from "./site.js";

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
