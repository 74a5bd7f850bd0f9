// The board when there is much of it, when something comes in while it is open, and on other
// machines.

import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { cp, mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { after, test } from "node:test";
import { Offences } from "./offences.js";
import { enlarged, labels, sideways, smallTargets, smallText } from "./probe.js";
import { rested, sheetOf, site } from "./site.js";

const jsQR = /** @type {typeof import("jsqr").default} */ (createRequire(import.meta.url)("jsqr"));
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const bin = process.env["AFTERBELL_BIN"] ?? "";

/** A folder of many matches, each the same but for its name and time. */
const dir = await mkdtemp(join(tmpdir(), "afterbell-board-"));
const data = join(dir, "data");
const source = site.matches.find((m) => m.match === "q14" && m.robot === "heron");
assert.ok(source);
const many = 64;

/** @param {number} n */
async function put(n) {
  const folder = join(data, "season=2031", "event=millbrook-open", `match=m${n}`, "robot=heron");
  await cp(source?.folder ?? "", folder, { recursive: true });
  const at = new Date(Date.UTC(2031, 2, 1 + Math.floor(n / 30), 8, (n % 30) * 15)).toISOString();
  const report = JSON.parse(await readFile(join(folder, "report.json"), "utf8"));
  report.match.match = `m${n}`;
  report.match.at = at;
  await writeFile(join(folder, "report.json"), JSON.stringify(report));
  await rm(join(folder, "notes.jsonl"), { force: true });
}
for (let n = 1; n <= many; n++) await put(n);

/** @param {string[]} args */
async function start(...args) {
  const child = spawn(bin, ["serve", "--data", data, "--listen", "127.0.0.1:0", ...args], { stdio: ["ignore", "pipe", "ignore"] });
  /** @type {string[]} */
  const lines = [];
  for await (const line of createInterface({ input: child.stdout })) {
    lines.push(line);
    if (lines.length === (args.includes("--lan") ? 2 : 1)) break;
  }
  return { child, url: lines[0]?.replace("serving on ", "") ?? "", link: lines[1]?.replace("in the network on ", "") ?? "" };
}
const server = await start("--lan", "--lan-listen", "127.0.0.1:0");
after(async () => {
  server.child.kill();
  await rm(dir, { recursive: true, force: true });
});

/** @param {import("playwright-core").Page} page */
const rows = (page) => page.locator(".matches tbody tr:not(.day) th a").allInnerTexts();

test("older matches come as one scrolls, each once, and then by hand", async () => {
  const page = await site.browser.newPage({ viewport: { width: 390, height: 800 } });
  await page.goto(server.url + "/");
  assert.equal((await rows(page)).length, 25);
  for (let i = 0; i < 10; i++) {
    await page.evaluate(() => window.scrollTo(0, document.body.scrollHeight));
    await page.waitForTimeout(250);
  }
  const all = await rows(page);
  assert.equal(all.length, many - 1);
  assert.deepEqual(all, Array.from({ length: many - 1 }, (_, i) => `m${many - 1 - i}`));
  assert.equal(await page.locator("#older").count(), 0);
  assert.equal(await page.locator("tr.day").count(), new Set(await page.locator("tr.day").allInnerTexts()).size, "each day is named once");
  await page.close();
});

test("older matches that cannot be loaded are said, and asked for again by the link", async () => {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 800 } });
  await page.route("**/?after=*", (route) => route.abort());
  await page.goto(server.url + "/");
  await page.evaluate(() => window.scrollTo(0, document.body.scrollHeight));
  await page.getByText("Older matches could not be loaded").waitFor();
  await page.unroute("**/?after=*");
  await page.getByRole("link", { name: "Older matches" }).click();
  await page.locator(".matches tbody tr:not(.day) th a").nth(30).waitFor();
  await page.close();
});

test("a match that comes in slides in on top, and the one before it goes into the rows", async () => {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 800 } });
  await page.clock.install();
  await page.goto(server.url + "/");
  const first = page.locator(".matches tbody tr:not(.day) th a").first();
  await first.evaluate((el) => el.setAttribute("data-kept", ""));
  await put(many + 1);
  await page.clock.runFor(11_000);
  await page.locator(".newest .name", { hasText: `m${many + 1}` }).waitFor();
  assert.deepEqual((await rows(page)).slice(0, 2), [`m${many}`, `m${many - 1}`]);
  assert.equal(await page.locator("[data-kept]").count(), 1, "nothing was loaded anew");
  const moves = () => page.locator(".newest").evaluate((el) => [getComputedStyle(el).animationName, getComputedStyle(el).animationDuration]);
  assert.deepEqual(await moves(), ["arrived", "0.2s"]);
  await page.emulateMedia({ reducedMotion: "reduce" });
  assert.equal((await moves())[0], "none");
  assert.match(await page.getByRole("status").allInnerTexts().then((t) => t.join(" ")), new RegExp(`m${many + 1} heron is in\\.`));

  // Who reads further down is told, and nothing moves.
  await page.evaluate(() => window.scrollTo(0, 700));
  const top = () => page.locator("[data-kept]").evaluate((el) => el.getBoundingClientRect().top);
  const before = await top();
  await put(many + 2);
  await page.clock.runFor(11_000);
  await page.getByText("A newer match is in").waitFor();
  assert.equal(await top(), before);
  await page.close();
});

test("what is found stands in the address, and the form says it", async () => {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 800 } });
  await page.goto(site.url + "/");
  await page.getByText("Find a match").click();
  await page.getByLabel("Robot").selectOption("curlew");
  await page.getByRole("button", { name: "Find" }).click();
  await page.waitForURL(/robot=curlew/);
  const robots = new Set(await page.locator(".matches td.robot").allInnerTexts());
  assert.deepEqual([...robots], ["curlew"]);
  assert.equal(await page.getByLabel("Robot").inputValue(), "curlew");
  await page.getByLabel("Words").fill("nothing has this");
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { name: "No match fits." }).waitFor();
  await page.close();
});

test("a note is noted and taken back without a script", async () => {
  const context = await site.browser.newContext({ javaScriptEnabled: false, viewport: { width: 390, height: 800 } });
  const page = await context.newPage();
  await page.goto(site.url + sheetOf({ event: "samples", match: "clean", robot: "heron" }));
  await page.getByLabel("What the robot cannot log").fill("belt replaced");
  await page.getByRole("button", { name: "Note it" }).click();
  await page.waitForURL(/#notes$/);
  await page.locator("#notes li", { hasText: "belt replaced" }).waitFor();
  await page.goto(site.url + "/?q=belt");
  assert.equal(await page.locator(".matches tbody tr", { hasText: "belt replaced" }).count(), 1);
  await page.goBack();
  await page.getByRole("button", { name: "Take back" }).last().click();
  await page.waitForURL(/#notes$/);
  assert.equal(await page.locator("#notes li").count(), 0);
  await context.close();
});

test("a phone reads by the code, and cannot write", async () => {
  const laptop = await site.browser.newPage({ viewport: { width: 1280, height: 800 }, colorScheme: "dark" });
  await laptop.goto(server.url + "/lan");
  const shot = await laptop.locator(".qr").screenshot();
  const pixels = await laptop.evaluate(async (b64) => {
    const image = new Image();
    const bytes = Uint8Array.from(atob(b64), (c) => c.charCodeAt(0));
    const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/png" }));
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
    const context = canvas.getContext("2d");
    if (!context) throw new Error("no canvas");
    context.drawImage(bitmap, 0, 0);
    const d = context.getImageData(0, 0, bitmap.width, bitmap.height);
    return { data: [...d.data], width: d.width, height: d.height, image: image.width };
  }, shot.toString("base64"));
  const read = jsQR(Uint8ClampedArray.from(pixels.data), pixels.width, pixels.height);
  assert.equal(read?.data, server.link, "another reader reads the link out of the code");

  const phone = await site.browser.newContext({ viewport: { width: 390, height: 800 } });
  const page = await phone.newPage();
  await page.goto(server.link);
  await page.waitForURL(new URL("/", server.link).href);
  await page.locator("h1").waitFor();
  assert.deepEqual((await phone.cookies()).map((c) => [c.httpOnly, c.sameSite]), [[true, "Strict"]]);
  assert.equal(await page.evaluate(() => document.cookie), "");
  assert.equal(await page.getByRole("link", { name: "On a phone" }).count(), 0);
  await page.locator(".newest h1 a").click();
  await page.locator("#findings").waitFor();
  assert.equal(await page.locator('form[method="post"]').count(), 0);
  const other = await site.browser.newPage();
  assert.equal((await other.goto(new URL("/", server.link).href))?.status(), 401);
  await Promise.all([phone.close(), other.close(), laptop.close()]);
});

/** A second of moving picture, made by the browser itself. @param {import("playwright-core").Page} page */
const filmed = (page) => page.evaluate(async () => {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 64;
  const context = canvas.getContext("2d");
  const recorder = new MediaRecorder(canvas.captureStream(25), { mimeType: "video/webm" });
  /** @type {Blob[]} */
  const parts = [];
  recorder.ondataavailable = (e) => parts.push(e.data);
  recorder.start(100);
  for (let i = 0; i < 60; i++) {
    if (context) {
      context.fillStyle = `hsl(${i * 6} 80% 50%)`;
      context.fillRect(0, 0, 64, 64);
    }
    await new Promise((done) => setTimeout(done, 50));
  }
  await new Promise((done) => { recorder.onstop = done; recorder.stop(); });
  return [...new Uint8Array(await new Blob(parts).arrayBuffer())];
});

/** @type {Buffer | undefined} */
let short; // a film for all tests
const film = async () => {
  if (!short) {
    const studio = await site.browser.newPage();
    short = Buffer.from(await filmed(studio));
    await studio.close();
  }
  return short;
};

test("a video is played from the device, lined up by a click, and led by the findings", async () => {
  const video = await film();
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 800 } });
  const wrong = new Offences();
  /** @type {string[]} */
  const sent = [];
  page.on("request", (r) => { if (r.method() !== "GET") sent.push(r.url()); });
  page.on("console", (m) => wrong.add(m.text()));
  await page.goto(site.url + sheetOf({ event: "millbrook-open", match: "q14", robot: "heron" }));
  assert.equal(await page.locator(".to-video:visible").count(), 0);
  await page.getByLabel("A video of this match").setInputFiles({ name: "q14.webm", mimeType: "video/webm", buffer: video });
  const player = page.locator("#film");
  await player.evaluate((v) => new Promise((done) => v instanceof HTMLVideoElement && v.readyState >= 2 ? done(0) : v.addEventListener("loadeddata", done, { once: true })));
  const at = () => player.evaluate((v) => /** @type {HTMLVideoElement} */ (v).currentTime);
  await page.keyboard.press("v");
  await page.waitForTimeout(400);
  await page.keyboard.press("v");
  const moment = await at();
  assert.ok(moment > 0.1, "v plays it");
  // Autonomous as late in this short film as it may be, so that findings lie behind its end.
  await page.getByRole("button", { name: "Autonomous starts here" }).click();
  await page.getByText(/Lined up: the match starts at 0:0/).waitFor();
  assert.ok(await page.locator(".playhead").isVisible());
  await page.keyboard.press(".");
  assert.ok(await at() > moment);
  await page.locator(".to-video").first().click();
  await page.waitForFunction((m) => (/** @type {HTMLVideoElement} */ (document.getElementById("film"))).currentTime > m + 0.5, moment);
  await page.reload();
  await page.getByLabel("A video of this match").setInputFiles({ name: "q14.webm", mimeType: "video/webm", buffer: video });
  await page.getByText(/Lined up: the match starts at 0:0/).waitFor();
  await page.getByLabel("A video of this match").setInputFiles({ name: "notes.txt", mimeType: "text/plain", buffer: Buffer.from("no film") });
  await page.getByText("This browser cannot play notes.txt.").waitFor();
  assert.deepEqual(sent, [], "nothing of it is sent");
  await page.close();
  wrong.none();
});

test("a video goes with cursor A of the bench, and the cursor with it", async () => {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 900 } });
  await page.goto(`${site.url}/t/millbrook-open/q14/heron?from=0&to=2&s=power/voltage`);
  await rested(page);
  await page.getByLabel("A video of this match").setInputFiles({ name: "q14.webm", mimeType: "video/webm", buffer: await film() });
  await page.getByRole("button", { name: "Autonomous starts here" }).click();
  await page.keyboard.press(".");
  await page.keyboard.press(".");
  await page.waitForURL((url) => Math.abs(Number(url.searchParams.get("a")) - 0.2) < 0.02);
  await page.locator("h1").hover();
  await page.keyboard.press("a"); // the middle of what is on screen
  await page.waitForFunction(() => Math.abs((/** @type {HTMLVideoElement} */ (document.getElementById("film"))).currentTime - 1) < 0.05);
  await page.close();
});

test("found matches, older ones, the link and a sheet with a video fit every screen", async (t) => {
  const sheet = site.url + sheetOf({ event: "millbrook-open", match: "q14", robot: "heron" });
  for (const [name, address] of [
    ["found", server.url + "/?robot=heron&kind=jam&from=2031-03-01"], ["none fits", server.url + "/?q=nothing"],
    ["older", server.url + "/?after=1930000000000000000~2031/millbrook-open/m20/heron"], ["the link", server.url + "/lan"], ["no link", site.url + "/lan"],
    ["a sheet with a video", sheet],
  ]) {
    await t.test(name ?? "", async () => {
      const page = await site.browser.newPage();
      const wrong = new Offences();
      page.on("console", (m) => wrong.add(m.text()));
      await page.goto(address ?? "");
      if (address === sheet) await page.getByLabel("A video of this match").setInputFiles({ name: "q14.webm", mimeType: "video/webm", buffer: await film() });
      await page.evaluate(axe);
      for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
        await page.emulateMedia({ colorScheme });
        for (const width of [1280, 768, 390, 360]) {
          await page.setViewportSize({ width, height: 800 });
          await page.evaluate(() => document.fonts.ready);
          wrong.where = `${width} ${colorScheme}`;
          for (const look of [sideways, labels, enlarged]) wrong.add(...await page.evaluate(look));
          wrong.add(...await page.evaluate(smallText, 12), ...await page.evaluate(smallTargets, width <= 640 ? 44 : 24));
          wrong.add(...await page.evaluate(async () => {
            const { axe } = /** @type {typeof globalThis & { axe: typeof import("axe-core") }} */ (globalThis);
            const found = await axe.run({ runOnly: { type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }, resultTypes: ["violations"] });
            return found.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(" | ")}`);
          }));
        }
      }
      await page.emulateMedia({ media: "print", colorScheme: "light" });
      wrong.where = "print";
      wrong.add(...await page.evaluate(() => ["find", "older", "video", "noting"].filter((c) => [...document.querySelectorAll(`.${c}`)].some((e) => e.getClientRects().length > 0)).map((c) => `.${c} is printed`)));
      await page.close();
      wrong.none();
    });
  }
});
