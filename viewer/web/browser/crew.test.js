// What the crew says of a finding: by a plain form, so that it works without a script.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { join } from "node:path";
import { test } from "node:test";
import { sheetOf, site } from "./site.js";

const match = { event: "millbrook-open", match: "q14", robot: "heron" };

/** @param {boolean} javaScriptEnabled */
async function judge(javaScriptEnabled) {
  const context = await site.browser.newContext({ javaScriptEnabled, viewport: { width: 390, height: 800 } });
  const page = await context.newPage();
  await page.goto(site.url + sheetOf(match));
  const finding = page.locator("#finding-2");
  await finding.getByRole("button", { name: "It did not" }).click();
  await page.waitForURL(/#finding-2$/);
  assert.ok(await finding.getByText("The crew says: it did not happen.").isVisible());
  await page.goto(site.url + "/");
  assert.ok(await page.getByText("heron: the crew agreed with 0 of the 1 finding it judged.").isVisible());
  await page.goBack();
  await finding.getByRole("button", { name: "Take back" }).click();
  await finding.getByRole("button", { name: "That happened" }).waitFor();
  assert.equal(await finding.getByText("The crew says").count(), 0);
  await context.close();
}

test("the crew says whether a finding was right, with a script and without", async () => {
  await judge(true);
  await judge(false);
  const stored = site.matches.find((m) => m.match === match.match);
  assert.ok(stored);
  const lines = (await readFile(join(stored.folder, "notes.jsonl"), "utf8")).trimEnd().split("\n").map((l) => JSON.parse(l));
  assert.deepEqual(lines.map((l) => l.happened), ["no", "none", "no", "none"]);
});

test("a page of another site cannot speak for the crew", async () => {
  const page = await site.browser.newPage();
  await page.route("http://other.example/", (route) => route.fulfill({
    contentType: "text/html",
    body: `<form method="post" action="${site.url}${sheetOf(match)}/verdict"><input name="finding" value="x"><input name="happened" value="yes"><button>go</button></form>`,
  }));
  await page.goto("http://other.example/");
  const answered = page.waitForResponse((r) => r.url().endsWith("/verdict"));
  await page.getByRole("button").click();
  assert.equal((await answered).status(), 403);
  await page.close();
});
