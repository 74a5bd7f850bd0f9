// The live row of the pit board, while a collector takes in what a robot sends: on every
// screen, and how it grows by itself.

import assert from "node:assert/strict";
import { execFile, spawn } from "node:child_process";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createRequire } from "node:module";
import { createInterface } from "node:readline";
import { after, test } from "node:test";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";
import { gunzipSync } from "node:zlib";
import { Offences } from "./offences.js";
import { enlarged, sideways, smallTargets, smallText } from "./probe.js";
import { site } from "./site.js";

const run = promisify(execFile);
const samples = fileURLToPath(new URL("../../../sample-logs", import.meta.url));
const bin = process.env.AFTERBELL_BIN ?? "";
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** @type {import("node:child_process").ChildProcess[]} */
const started = [];
let dir = "";
let pages = "";

/**
 * Starts a collector, and a robot that sends at four times its speed and lacks its score: when its
 * test begins, for a match does not wait for the files of tests before.
 */
async function collect() {
  dir = await mkdtemp(join(tmpdir(), "afterbell-live-"));
  const args = ["collect", "--data", join(dir, "data"), "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0", "--profile", join(samples, "curlew.yaml")];
  const collector = spawn(bin, args, { stdio: ["ignore", "pipe", "ignore"] });
  started.push(collector);
  assert.ok(collector.stdout);
  let robots = "";
  for await (const line of createInterface(collector.stdout)) {
    if (line.startsWith("listening on ")) robots = line.slice("listening on ".length);
    if (line.startsWith("serving on ")) pages = line.slice("serving on ".length);
    if (robots && pages) break;
  }
  const rows = gunzipSync(await readFile(join(samples, "rookie.csv.gz"))).toString().split("\n");
  const log = join(dir, "q14.csv");
  await writeFile(log, rows.filter((row) => !row.includes(",game/score,")).join("\n"));
  started.push(spawn(bin, ["replay", log, "--robot", "curlew", "--to", robots, "--speed", "4"], { stdio: "ignore" }));
}

after(async () => {
  for (const p of started) p.kill();
  await Promise.all(started.map((p) => p.exitCode ?? new Promise((ended) => p.once("exit", ended))));
  await rm(dir, { recursive: true, force: true });
});

test("the live row fits every screen and grows by itself", async () => {
  await collect();
  const page = await site.browser.newPage();
  const wrong = new Offences();
  page.on("console", (m) => wrong.add(`console ${m.type()}: ${m.text()}`));
  page.on("pageerror", (e) => wrong.add(`script: ${e.message}`));
  await page.goto(pages);
  const ribbon = page.locator("#live svg.growing");
  await ribbon.waitFor({ timeout: 20_000 }); // the match begins
  const live = page.locator("#live");
  const said = await live.innerText();
  for (const want of ["curlew", "4 of 5 signals came lately", "never came: game/score (score)", "lost", "GB free", " V now, lowest "]) {
    assert.ok(said.includes(want), `${want}: ${said}`);
  }
  assert.ok(said.indexOf("Before hands go in") >= 0 && said.indexOf("Before hands go in") < said.indexOf("never came"), "the caution stands above");
  assert.doesNotMatch(said, /\b(ok|healthy|passed|ready)\b/i);

  // A mark of this page's own stays: the row is put in anew, the page is not.
  await page.evaluate(() => { document.body.dataset.mark = "here"; });
  const label = () => ribbon.getAttribute("aria-label");
  const first = await label();
  await page.waitForFunction((was) => document.querySelector("#live svg.growing")?.getAttribute("aria-label") !== was, first, { timeout: 10_000 });
  assert.match(String(await label()), /^Supply voltage of the \d+ s so far, lowest \d+\.\d V\.$/);
  assert.equal(await page.evaluate(() => document.body.dataset.mark), "here");

  for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
    await page.emulateMedia({ colorScheme });
    for (const width of [1280, 1000, 641, 390, 360]) {
      await page.setViewportSize({ width, height: 800 });
      wrong.where = `${width} ${colorScheme}`;
      for (const look of [sideways, enlarged]) wrong.add(...await page.evaluate(look));
      wrong.add(...await page.evaluate(smallText, 12));
      wrong.add(...await page.evaluate(smallTargets, width <= 640 ? 44 : 24));
    }
    await page.evaluate(axe);
    wrong.add(...await page.evaluate(async () => {
      const { axe } = /** @type {typeof globalThis & { axe: typeof import("axe-core") }} */ (globalThis);
      const found = await axe.run("#live", { resultTypes: ["violations"] });
      return found.violations.map((v) => `${v.id}: ${v.help}`);
    }));
  }
  await page.close();
  wrong.none();
});

test("precheck says the same on the terminal", async () => {
  const { stdout } = await run(bin, ["precheck", "curlew", "--data", join(dir, "data")]);
  assert.match(stdout, /4 of the 5 that the profile names came lately/);
  assert.match(stdout, /never came: game\/score \(score\)/);
});
