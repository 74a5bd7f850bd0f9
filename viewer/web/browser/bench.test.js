// The trace bench under hand: every key, the wheel, the mouse, fingers; the address, which
// holds all of it; what is laid over, found and saved.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import { rested, site } from "./site.js";

/** @typedef {import("playwright-core").Page} Page */

const q14 = `${site.url}/t/millbrook-open/q14/heron`;
const strips = ["path/mouth/beam", "path/lift/current", "power/voltage"];
const near = q14 + "?from=40&to=50&" + strips.map((s) => `s=${s}`).join("&");

/** @param {string} address @param {import("playwright-core").BrowserContextOptions} [options] */
async function open(address, options = {}) {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 900 }, reducedMotion: "reduce", ...options });
  page.on("pageerror", (e) => { throw e; });
  await page.goto(address);
  await rested(page);
  return page;
}

/** What the address says. @param {Page} page */
function said(page) {
  const q = new URL(page.url()).searchParams;
  /** @param {string} key */
  const number = (key) => (q.has(key) ? Number(q.get(key)) : undefined);
  return { from: number("from") ?? NaN, to: number("to") ?? NaN, a: number("a"), b: number("b"), strips: q.getAll("s"), over: q.get("over") };
}

/**
 * Where the plots are on the screen.
 * @param {Page} page
 * @returns {Promise<{ y: number, axis: number, at: (share: number) => number }>}
 */
async function plot(page) {
  const box = await page.locator("canvas.cursors").boundingBox();
  assert.ok(box);
  const left = box.x + 44;
  const wide = box.width - 45;
  return { y: box.y + 150, axis: box.y + 12, at: (share) => left + share * wide };
}

/** @param {number} got @param {number} want @param {number} [off] */
const about = (got, want, off = 0.06) => assert.ok(Math.abs(got - want) <= off, `${got} is not about ${want}`);

/** @param {Page} page @param {string} key */
async function press(page, key) {
  await page.keyboard.press(key);
  await rested(page);
}

test("keys zoom, pan and go through the findings", async () => {
  const page = await open(near);
  await press(page, "+");
  about(said(page).from, 42.5);
  about(said(page).to, 47.5);
  await press(page, "ArrowRight");
  about(said(page).from, 43);
  await press(page, "Shift+ArrowLeft");
  about(said(page).from, 38);
  await press(page, "-");
  about(said(page).to - said(page).from, 10);
  await press(page, "0");
  about(said(page).from, 0);
  assert.ok(said(page).to > 130);

  const findings = await page.locator(".leads li").count();
  const seen = new Set();
  for (let i = 0; i < findings; i++) {
    await press(page, "n");
    seen.add(said(page).from);
    assert.ok(await page.locator(".leads li.here").count() > 0);
  }
  assert.equal(seen.size, findings, "each once");
  await press(page, "1");
  assert.ok((await page.locator("h1").textContent())?.includes("jammed"));
  await page.close();
});

test("the wheel pans, and zooms with Ctrl at the pointer", async () => {
  const page = await open(near);
  const p = await plot(page);
  await page.mouse.move(p.at(0.25), p.y);
  await page.mouse.wheel(0, 200);
  await rested(page);
  const { from, to } = said(page);
  assert.ok(from > 40.5 && from < 46, `from ${from}`);
  about(to - from, 10);
  const under = from + 0.25 * (to - from);
  await page.keyboard.down("Control");
  await page.mouse.wheel(0, -300);
  await page.keyboard.up("Control");
  await rested(page);
  const now = said(page);
  assert.ok(now.to - now.from < 6);
  about(now.from + 0.25 * (now.to - now.from), under, 0.05);
  assert.equal(await page.evaluate(() => window.scrollY), 0, "the page stays where it is");
  await page.close();
});

test("dragging selects a stretch, twice clicked shows the whole match", async () => {
  const page = await open(near + "&a=43");
  const p = await plot(page);
  await page.mouse.move(p.at(0.2), p.y);
  await page.mouse.down();
  await page.mouse.move(p.at(0.5), p.y, { steps: 4 });
  await page.mouse.up();
  await rested(page);
  about(said(page).from, 42);
  about(said(page).to, 45);
  assert.equal(said(page).a, 43, "a stretch is no cursor");
  await page.mouse.dblclick(p.at(0.5), p.y);
  await rested(page);
  about(said(page).from, 0);
  assert.equal(said(page).a, 43, "nor is a double click");
  await page.close();
});

test("cursors are set by click and key, dragged by their flags, and read", async () => {
  const page = await open(near);
  const p = await plot(page);
  await page.mouse.click(p.at(0.4), p.y);
  await page.keyboard.down("Shift");
  await page.mouse.click(p.at(0.5), p.y);
  await page.keyboard.up("Shift");
  await rested(page);
  about(said(page).a ?? NaN, 44);
  about(said(page).b ?? NaN, 45);
  const table = page.locator("#strips table");
  const cells = () => table.locator("tbody tr").nth(1).locator("td").allTextContents();
  const [, , , a = "", b = "", less = ""] = await cells();
  const number = (/** @type {string} */ s) => Number(s.replace("−", "-"));
  about(number(b) - number(a), number(less), 0.11);
  const got = await page.evaluate(async (at) => {
    const main = document.getElementById("bench");
    const r = await fetch(`${main?.dataset["api"]}/values?signal=path/lift/current&at=${at + Number(main?.dataset["start"])}`);
    return (await r.json()).signals[0].values[0].value;
  }, said(page).a ?? 0);
  about(number(a), got, 0.051);

  await page.mouse.move(p.at(0.4) - 20, p.axis); // A's flag stands before its line
  await page.mouse.down();
  await page.mouse.move(p.at(0.1), p.axis, { steps: 3 });
  await page.mouse.up();
  await rested(page);
  about(said(page).a ?? NaN, 41, 0.3);
  await page.mouse.move(p.at(0.8), p.y);
  await press(page, "b");
  about(said(page).b ?? NaN, 48);
  await press(page, "Escape");
  assert.equal(said(page).a, undefined);
  assert.equal(said(page).b, undefined);
  await page.close();
});

test("signals are found by typing and added, moved and taken off", async () => {
  const page = await open(near);
  await page.keyboard.press("/");
  await page.keyboard.type("cur pa");
  const hits = page.locator("#hits li");
  await hits.first().waitFor();
  assert.deepEqual(await hits.locator(".name").evaluateAll((all) => all.map((n) => n.textContent?.includes("path/") && n.textContent.includes("current"))), Array(await hits.count()).fill(true));
  assert.deepEqual(await hits.first().locator("u").allTextContents(), ["pa", "cur"]);
  assert.match(await page.locator("#found").innerText(), /of 40 signals/);
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("ArrowDown"); // the second is there already
  const name = await page.locator('#hits li[aria-selected="true"] .name').innerText();
  await page.keyboard.press("Enter");
  await rested(page);
  assert.deepEqual(said(page).strips, [...strips, name], "as the lowest");
  assert.equal(await page.locator("#find").inputValue(), "");
  await page.keyboard.press("Escape");

  const button = page.getByRole("button", { name: `Take ${name} off` });
  await button.focus();
  await press(page, "Alt+ArrowUp");
  assert.deepEqual(said(page).strips.indexOf(name), strips.length - 1);
  assert.equal(await page.evaluate(() => document.activeElement?.getAttribute("aria-label")), `Take ${name} off`, "the focus goes along");
  await press(page, "Enter");
  assert.deepEqual(said(page).strips, strips);
  await page.close();
});

test("back undoes one thing at a time, and an address shows the same view", async () => {
  const page = await open(near);
  await page.waitForTimeout(1000); // things further apart than a second are things of their own
  await press(page, "+");
  const zoomed = page.url();
  await page.waitForTimeout(1000);
  await page.mouse.click((await plot(page)).at(0.5), (await plot(page)).y);
  await rested(page);
  const cursor = page.url();
  assert.notEqual(cursor, zoomed);
  await page.goBack();
  await rested(page);
  assert.equal(page.url(), zoomed);
  assert.equal(said(page).a, undefined);
  await page.goBack();
  await rested(page);
  assert.equal(page.url(), near);
  await page.goForward();
  await page.goForward();
  await rested(page);

  const [mine, theirs] = [await page.locator("#strips").screenshot(), await open(cursor)];
  assert.ok(mine.equals(await theirs.locator("#strips").screenshot()), "the same to the pixel");
  await theirs.close();
  await page.close();
});

test("the whole match above shows and moves the window", async () => {
  const page = await open(near);
  const whole = await page.locator("#whole svg:visible").boundingBox();
  const frame = () => page.locator("#frame").boundingBox();
  assert.ok(whole);
  const bell = Number(await page.locator("#bench").getAttribute("data-bell"));
  about(((await frame())?.x ?? 0) - whole.x, (40 / bell) * whole.width, 2);
  await page.mouse.move(whole.x + (45 / bell) * whole.width, whole.y + whole.height - 4);
  await page.mouse.down();
  await page.mouse.move(whole.x + (75 / bell) * whole.width, whole.y + whole.height - 4, { steps: 3 });
  await page.mouse.up();
  await rested(page);
  about(said(page).from, 70, 0.5);
  about(said(page).to, 80, 0.5);
  await page.close();
});

test("a usual pass is laid over, another, and none", async () => {
  const page = await open(near);
  await page.getByRole("button", { name: "Lay a usual pass over" }).click();
  await page.locator("#laid b").waitFor();
  await rested(page);
  const first = said(page).over;
  assert.match(await page.locator("#laid").innerText(), /Laid over: pass \d+.*a usual one, both starting at the \w+ beam/);
  assert.ok(first !== null && first !== "0");
  const edge = await colours(page, "--edge");
  assert.ok(edge > 50, `${edge} pixels of its colour`);
  await page.getByRole("button", { name: "another" }).click();
  await rested(page);
  assert.notEqual(said(page).over, first);
  await page.getByRole("button", { name: "none" }).click();
  await rested(page);
  assert.equal(said(page).over, null);
  assert.ok(await colours(page, "--edge") < edge);
  await page.close();
});

/** How many pixels of the plots have the colour of a token. @param {Page} page @param {string} token */
function colours(page, token) {
  return page.evaluate((name) => {
    const canvas = /** @type {HTMLCanvasElement} */ (document.querySelector("canvas.plots"));
    const probe = document.body.appendChild(document.createElement("i"));
    probe.className = "probe";
    probe.style.color = getComputedStyle(document.documentElement).getPropertyValue(name);
    const [r, g, b] = (getComputedStyle(probe).color.match(/\d+/g) ?? []).map(Number);
    probe.remove();
    const data = canvas.getContext("2d")?.getImageData(0, 0, canvas.width, canvas.height).data ?? [];
    let n = 0;
    for (let i = 0; i < data.length; i += 4) if (data[i] === r && data[i + 1] === g && data[i + 2] === b && data[i + 3] === 255) n++;
    return n;
  }, token);
}

test("what is on screen is saved, as samples and as a picture", async () => {
  const page = await open(near);
  const save = page.locator("#save");
  assert.match(await save.innerText(), /^3 signals, [\d\u202f]+ samples, 40.00 to 50.00 s/);
  const samples = Number(/signals, ([\d\u202f]+) samples/.exec(await save.innerText())?.[1]?.replace(/\u202f/g, ""));
  /** @param {() => Promise<void>} does */
  const taken = async (does) => {
    const [file] = await Promise.all([page.waitForEvent("download"), does()]);
    return readFile(await file.path());
  };
  const begin = await page.locator("#bench").getAttribute("data-start");
  const csv = (await taken(() => save.getByRole("link", { name: "CSV" }).click())).toString().trimEnd().split("\n");
  assert.equal(csv.length - 1, samples + 1, "and what the beam said before, from the first moment on");
  assert.ok(csv.some((row) => row.includes("path/mouth/beam") && Math.abs(Number(row.split(",")[0]) - Number(begin) - 40) < 1e-6));
  const start = Number(begin);
  for (const row of csv.slice(1)) {
    const t = Number(row.split(",")[0]) - start;
    assert.ok(t >= 40 - 1e-6 && t <= 50 + 1e-6, row);
  }
  assert.equal((await taken(() => save.getByRole("link", { name: "Parquet" }).click())).subarray(0, 4).toString(), "PAR1");
  assert.equal((await taken(() => save.getByRole("link", { name: "Arrow" }).click())).subarray(0, 6).toString(), "ARROW1");
  const svg = (await taken(() => save.getByRole("button", { name: "SVG" }).click())).toString();
  assert.match(svg, /^<svg xmlns="http:\/\/www.w3.org\/2000\/svg"/);
  assert.ok(await page.evaluate((text) => new DOMParser().parseFromString(text, "image/svg+xml").querySelector("parsererror") === null, svg));
  for (const word of ["current", "voltage", "path/mouth/beam"]) assert.ok(svg.includes(word), word);
  const png = await taken(() => save.getByRole("button", { name: "PNG" }).click());
  assert.equal(png.subarray(1, 4).toString(), "PNG");
  assert.ok(png.readUInt32BE(16) > 2000, "twice the pixels of the screen");
  await page.close();
});

test("a finding of a sheet opens what it rests on", async () => {
  const page = await site.browser.newPage({ viewport: { width: 1280, height: 900 } });
  await page.goto(`${site.url}/m/millbrook-open/q14/heron`);
  await page.keyboard.press("1");
  await page.keyboard.press("Enter");
  await page.waitForURL(/\/t\/millbrook-open\/q14\/heron\?/);
  await rested(page);
  assert.ok(said(page).strips.length > 0);
  assert.equal(await page.locator("#strips .strip").count(), said(page).strips.length);
  assert.ok(await colours(page, "--tint") > 1000, "its band");
  // Another finding's link changes the view without loading the page.
  await page.evaluate(() => { document.body.dataset["same"] = "yes"; });
  await page.locator(".leads .lead-to").nth(1).click();
  await rested(page);
  assert.equal(await page.locator("body").getAttribute("data-same"), "yes");
  await page.close();
});

test("fingers pan and pinch", async () => {
  const page = await open(near, { viewport: { width: 390, height: 800 }, hasTouch: true, isMobile: true });
  const canvas = page.locator("canvas.cursors");
  await canvas.scrollIntoViewIfNeeded();
  const box = await canvas.boundingBox();
  assert.ok(box);
  const touch = await page.context().newCDPSession(page);
  /** @param {"touchStart" | "touchMove" | "touchEnd"} type @param {number[]} xs */
  const fingers = (type, ...xs) => touch.send("Input.dispatchTouchEvent", { type, touchPoints: xs.map((x, id) => ({ x, y: box.y + 120, id })) });
  await fingers("touchStart", box.x + 200);
  for (const x of [190, 170, 150, 125]) await fingers("touchMove", box.x + x);
  await fingers("touchEnd");
  await rested(page);
  const moved = said(page);
  assert.ok(moved.from > 41 && moved.from < 44, `from ${moved.from}`);
  about(moved.to - moved.from, 10);
  await fingers("touchStart", box.x + 150, box.x + 210);
  for (const d of [10, 25, 40, 60]) await fingers("touchMove", box.x + 150 - d, box.x + 210 + d);
  await fingers("touchEnd");
  await rested(page);
  about(said(page).to - said(page).from, 10 / 3, 0.6);
  await page.close();
});

test("a signal that the match lacks is left out, and a server that is gone is said", async () => {
  const page = await open(near + "&s=no/such/signal");
  assert.deepEqual(await page.locator("#strips .strip").evaluateAll((all) => all.map((s) => /** @type {HTMLElement} */ (s).dataset["strip"])), strips);
  await page.route("**/window?*", (route) => route.fulfill({ status: 500, contentType: "application/problem+json", body: JSON.stringify({ title: "x", status: 500, detail: "signals.parquet: cut off" }) }));
  await page.keyboard.press("0");
  await page.getByText("Not everything could be read: signals.parquet: cut off").waitFor();
  await page.unroute("**/window?*");
  await press(page, "+");
  assert.equal(await page.locator("#laid .trouble").count(), 0);
  await page.close();
});

test("without a script the bench says what it needs and leads to the samples", async () => {
  const context = await site.browser.newContext({ javaScriptEnabled: false });
  const page = await context.newPage();
  await page.goto(q14);
  assert.ok(await page.getByText("need a script").isVisible());
  assert.ok(await page.locator(".leads .save a").count() > 3);
  assert.equal(await page.locator("#desk").isVisible(), false);
  await context.close();
});

test("on paper the bench is its strips and its findings", async () => {
  const page = await open(near);
  await page.emulateMedia({ media: "print" });
  await rested(page);
  assert.ok(await page.locator("canvas.plots").isVisible());
  assert.ok(await page.locator("#frame").isVisible(), "which stretch of the match this is");
  for (const hidden of ["nav", ".finder", ".hints"]) assert.equal(await page.locator(hidden).first().isVisible(), false, hidden);
  await page.close();
});
