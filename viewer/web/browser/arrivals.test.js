// Logs that come in by the page: chosen with and without a script, dropped, corrected, stored.
// They go into a data folder of their own, so that the site's other tests see what they saw.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { join } from "node:path";
import { test } from "node:test";
import { axe, rules, violations } from "./access.js";
import { Offences } from "./offences.js";
import { headings, sideways, smallTargets, smallText } from "./probe.js";
import { empty, samples, site } from "./site.js";

const log = join(samples, "rookie.csv.gz");

/** Goes from the empty board to the sheet. @param {boolean} javaScriptEnabled @param {string} match */
async function choose(javaScriptEnabled, match) {
  const server = await empty();
  const context = await site.browser.newContext({ javaScriptEnabled, viewport: { width: 390, height: 800 } });
  const page = await context.newPage();
  await page.goto(server.url);
  await page.getByLabel("Choose logs").setInputFiles(log);
  await page.getByRole("button", { name: "Look at them" }).click();
  await page.waitForURL(/\/in\/[0-9a-f]{32}$/);
  assert.ok(await page.getByRole("heading", { name: "No profile that is known fits this log." }).isVisible());
  await page.getByLabel("Add its profile").setInputFiles(join(samples, "curlew.yaml"));
  await page.getByRole("button", { name: "Look again" }).click();
  await page.getByRole("heading", { name: /This looks like curlew/ }).waitFor();
  const date = await page.getByLabel(/Start of the match/).inputValue();
  assert.equal(date !== "", javaScriptEnabled, "only a script can say the date of a file");
  await page.getByLabel("Match", { exact: true }).fill(match);
  await page.getByRole("button", { name: "Store it and make the sheet" }).click();
  await page.waitForURL(new RegExp(`/practice/${match}/curlew$`));
  assert.ok(await page.getByRole("heading", { level: 1 }).isVisible());
  await context.close();
  await server.close();
}

test("a log is chosen, looked at, and becomes a sheet, with a script and without", async () => {
  await choose(true, "q8");
  await choose(false, "q9");
});

test("a log dropped anywhere on the board comes in, and the same one again is known", async () => {
  const server = await empty();
  const page = await site.browser.newPage();
  const bytes = [...await readFile(log)];
  const dropIt = async () => {
    await page.goto(server.url);
    const transfer = await page.evaluateHandle((data) => {
      const t = new DataTransfer();
      t.items.add(new File([new Uint8Array(data)], "curlew q8.csv.gz", { lastModified: Date.now() - 3600_000 }));
      return t;
    }, bytes);
    await page.dispatchEvent("h1", "dragenter", { dataTransfer: transfer });
    assert.equal(await page.locator("body.dropping").count(), 1, "the page shows where it goes");
    await page.dispatchEvent("h1", "drop", { dataTransfer: transfer });
    await page.waitForURL(/\/in\/[0-9a-f]{32}$/);
  };
  await dropIt();
  await page.getByRole("button", { name: "Store it", exact: true }).click(); // no profile is known: samples only
  await page.waitForURL(server.url + "/");
  assert.ok(await page.getByText("stored without a profile, so not analyzed").isVisible());
  await dropIt();
  assert.ok(await page.getByRole("heading", { name: "This file is stored already." }).isVisible());
  await page.getByRole("button", { name: "Throw it away" }).click();
  await page.waitForURL(server.url + "/");
  await page.close();
  await server.close();
});

test("the pages of logs that wait fit every screen", async () => {
  const server = await empty();
  const page = await site.browser.newPage();
  const wrong = new Offences();
  page.on("console", (m) => wrong.add(`console ${m.type()}: ${m.text()}`));
  page.on("pageerror", (e) => wrong.add(`script: ${e.message}`));
  const addresses = [];
  for (const [name, text] of [["a log with a very long name, as recorders write them 2031-03-01 14.32.05.csv", "time_s,a,b\n0,1,2\n1,2,3\n"], ["bad.csv", "time_s,signal,value\n0,a,1\nx,a,2\n"]]) {
    await page.goto(server.url);
    await page.getByLabel("Choose logs").setInputFiles({ name: name ?? "", mimeType: "text/csv", buffer: Buffer.from(text ?? "") });
    await page.getByRole("button", { name: "Look at them" }).click();
    await page.waitForURL(/\/in\/[0-9a-f]{32}$/);
    addresses.push(page.url());
  }
  for (const address of [...addresses, server.url + "/in"]) {
    await page.goto(address);
    wrong.add(...await page.evaluate(headings));
    await page.evaluate(axe);
    wrong.add(...await page.evaluate(violations, rules));
    for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
      await page.emulateMedia({ colorScheme });
      for (const width of [1280, 641, 390, 360]) {
        await page.setViewportSize({ width, height: 800 });
        wrong.where = `${address.replace(/[0-9a-f]{32}/, "ID")} ${width} ${colorScheme}`;
        wrong.add(...await page.evaluate(sideways), ...await page.evaluate(smallText, 12));
        wrong.add(...await page.evaluate(smallTargets, width <= 640 ? 44 : 24));
      }
    }
  }
  await page.close();
  await server.close();
  wrong.none();
});

test("a page of another site brings nothing in", async () => {
  const server = await empty();
  const page = await site.browser.newPage();
  await page.route("http://other.example/", (route) => route.fulfill({
    contentType: "text/html",
    body: `<form method="post" action="${server.url}/in" enctype="multipart/form-data"><input type="file" name="log"><button>go</button></form>`,
  }));
  await page.goto("http://other.example/");
  await page.locator("input").setInputFiles(log);
  const answered = page.waitForResponse((r) => r.url().endsWith("/in"));
  await page.getByRole("button", { name: "go" }).click();
  assert.equal((await answered).status(), 403);
  await page.goto(server.url + "/in");
  assert.ok(await page.getByRole("heading", { name: "No log waits." }).isVisible());
  await page.close();
  await server.close();
});
