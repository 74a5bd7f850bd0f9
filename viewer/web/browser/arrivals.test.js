// Logs that come in by the page: chosen with and without a script, dropped, corrected, stored.
// They go into a data folder of their own, so that the site's other tests see what they saw.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { join } from "node:path";
import { test } from "node:test";
import { gunzipSync } from "node:zlib";
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

/**
 * Rows of a wide CSV log as a file of its own: some of its columns, some of its time, and its
 * clock moved by so many seconds.
 * @param {string[]} rows
 * @param {string} name
 * @param {(column: string) => boolean} keep
 * @param {[number, number]} span
 * @param {number} by
 */
function cut(rows, name, keep, span, by) {
  const head = (rows[0] ?? "").split(",");
  const kept = head.map((column, i) => (i === 0 || keep(column) ? i : -1)).filter((i) => i >= 0);
  const out = [kept.map((i) => head[i]).join(",")];
  for (const row of rows.slice(1)) {
    const cells = row.split(",");
    const t = Number(cells[0]);
    if (t < span[0] || t > span[1]) continue;
    cells[0] = (t + by).toFixed(6);
    out.push(kept.map((i) => cells[i]).join(","));
  }
  return { name, mimeType: "text/csv", buffer: Buffer.from(out.join("\n") + "\n") };
}

/** @returns {Promise<string[]>} */
async function cleanRows() {
  return gunzipSync(await readFile(join(samples, "clean.csv.gz"))).toString().trimEnd().split("\n");
}

/** @param {import("playwright-core").Page} page @param {string} url @param {{ name: string, mimeType: string, buffer: Buffer }[]} files */
async function dropAll(page, url, files) {
  await page.goto(url);
  const transfer = await page.evaluateHandle((list) => {
    const t = new DataTransfer();
    for (const [name, text] of list) t.items.add(new File([text], name, { lastModified: Date.now() - 3600_000 }));
    return t;
  }, files.map((f) => /** @type {[string, string]} */ ([f.name, f.buffer.toString()])));
  await page.dispatchEvent("h1", "drop", { dataTransfer: transfer });
  await page.waitForURL(files.length > 1 ? /\/in$/ : /\/in\/[0-9a-f]{32}$/);
}

/** @param {import("playwright-core").Page} page */
async function addHeron(page) {
  await page.getByLabel("Add its profile").setInputFiles(join(samples, "heron.yaml"));
  await page.getByRole("button", { name: "Look again" }).click();
  await page.getByRole("heading", { name: /This looks like heron/ }).waitFor();
}

/** The proposal fits every screen. @param {import("playwright-core").Page} page @param {Offences} wrong @param {string} what */
async function fits(page, wrong, what) {
  wrong.add(...await page.evaluate(headings));
  await page.evaluate(axe);
  wrong.add(...await page.evaluate(violations, rules));
  for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
    await page.emulateMedia({ colorScheme });
    for (const width of [1280, 390]) {
      await page.setViewportSize({ width, height: 800 });
      wrong.where = `${what} ${width} ${colorScheme}`;
      wrong.add(...await page.evaluate(sideways), ...await page.evaluate(smallText, 12));
      wrong.add(...await page.evaluate(smallTargets, width <= 640 ? 44 : 24));
      if (process.env.AFTERBELL_SHOTS) await page.screenshot({ path: `${process.env.AFTERBELL_SHOTS}/${what}-${width}-${colorScheme}.png`, fullPage: true });
    }
  }
}

test("two logs of one match are proposed, put together, refused, and a later one finds its match", async () => {
  const rows = await cleanRows();
  const vision = (/** @type {string} */ c) => /^(pose|vision|imu)\//.test(c);
  const drive = cut(rows, "q15 drive.csv", (c) => !vision(c), [-1e9, 1e9], 0);
  const camera = cut(rows, "q15 vision.csv", (c) => vision(c) || /^(robot\/mode|game\/score|path\/mouth\/beam)/.test(c), [-1e9, 1e9], -1234.567);
  const wrong = new Offences();
  for (const javaScriptEnabled of [true, false]) {
    const server = await empty();
    const context = await site.browser.newContext({ javaScriptEnabled });
    const page = await context.newPage();
    if (javaScriptEnabled) {
      await dropAll(page, server.url, [drive, camera]);
    } else {
      await page.goto(server.url);
      await page.getByLabel("Choose logs").setInputFiles([drive, camera]);
      await page.getByRole("button", { name: "Look at them" }).click();
      await page.waitForURL(/\/in$/);
    }
    await page.getByRole("link", { name: "q15 drive.csv" }).click();
    await addHeron(page);
    const choice = page.getByRole("radio", { name: /Put together with q15 vision\.csv\. q15 drive and q15 vision begin at the same time, to the microsecond: \d+ samples are in both/ });
    assert.ok(await choice.isChecked(), "what is sure is chosen");
    if (javaScriptEnabled) await fits(page, wrong, "proposal");
    if (javaScriptEnabled) { // accepted
      await page.getByLabel("Match", { exact: true }).fill("q15");
      await page.getByRole("button", { name: "Store it and make the sheet" }).click();
      await page.waitForURL(/\/practice\/q15\/heron$/);
      assert.ok((await page.content()).includes("a copy of the same recording"), "the sheet says what was done");
      await page.goto(server.url + "/in");
      assert.ok(await page.getByRole("heading", { name: "No log waits." }).isVisible(), "both are stored");
    } else { // refused, and put to the stored match then
      await page.getByRole("radio", { name: /^Two matches/ }).check();
      await page.getByRole("button", { name: "Store it and make the sheet" }).click();
      await page.waitForURL(/\/practice\/q15\/heron$/);
      await page.goto(server.url + "/in");
      await page.getByRole("link", { name: "q15 vision.csv" }).click();
      assert.ok(await page.getByRole("radio", { name: /Put together with q15 of heron, practice/ }).isChecked());
      await page.getByRole("button", { name: /Store it/ }).click();
      await page.waitForURL(/\/practice\/q15\/heron$/);
      assert.ok((await page.content()).includes("q15 vision.csv was shifted by"));
    }
    await context.close();
    await server.close();
  }
  wrong.none();
});

test("of a robot that started again the page asks when, and lays nothing over anything", async () => {
  const rows = await cleanRows();
  const begin = Number((rows[1] ?? "").split(",")[0]);
  const all = () => true;
  const first = cut(rows, "q16.csv", all, [begin, begin + 70], -begin);
  const again = cut(rows, "q16 again.csv", all, [begin + 73, 1e9], -begin - 73);
  const server = await empty();
  const page = await site.browser.newPage();
  const wrong = new Offences();
  await dropAll(page, server.url, [first]);
  await addHeron(page);
  await page.getByRole("button", { name: "Store it and make the sheet" }).click();
  await page.waitForURL(/\/practice\/q16\/heron$/);
  await dropAll(page, server.url, [again]);
  const choice = page.getByRole("radio", { name: /Put together with q16 of heron, practice\. How their clocks lie to each other is not known/ });
  assert.ok(!await choice.isChecked(), "nothing is put together without a word");
  await fits(page, wrong, "asked");
  await choice.check();
  await page.getByRole("button", { name: "Store it and make the sheet" }).click();
  assert.ok(await page.getByRole("alert").getByText("is no number of seconds").isVisible());
  await page.getByLabel("This file begins so many seconds after").fill("20");
  await page.getByRole("button", { name: "Store it and make the sheet" }).click();
  assert.ok(await page.getByRole("alert").getByText("two courses are not laid over each other").isVisible());
  await fits(page, wrong, "refused");
  await page.getByLabel("This file begins so many seconds after").fill("73");
  await page.getByRole("button", { name: "Store it and make the sheet" }).click();
  await page.waitForURL(/\/practice\/q16\/heron$/);
  assert.ok((await page.content()).includes("q16 again.csv was shifted by") && (await page.content()).includes("as it was told"));
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
