// How fast the bench is over a match of 300 signals and seven million samples: figures, not
// a test, because a busy machine makes any of them slow. `go run ./cmd/dev bench` runs it;
// AFTERBELL_BENCH_DATA names the folder that holds the match.

import { spawn } from "node:child_process";
import { cpus, loadavg } from "node:os";
import { createInterface } from "node:readline";
import { chromium } from "playwright-core";

/** @param {string} name */
function setting(name) {
  const v = process.env[name];
  if (!v) throw new Error(`${name} is not set: run this with \`go run ./cmd/dev bench pages\``);
  return v;
}

/** Starts a server of its own and waits for its address. @returns {Promise<{ url: string, stop: () => void }>} */
async function serve() {
  const child = spawn(setting("AFTERBELL_BIN"), ["serve", "--data", setting("AFTERBELL_BENCH_DATA"), "--listen", "127.0.0.1:0"], { stdio: ["ignore", "pipe", "inherit"] });
  for await (const line of createInterface({ input: child.stdout })) {
    const url = /^serving on (http:\S+)$/.exec(line)?.[1];
    if (url !== undefined) return { url, stop: () => void child.kill() };
  }
  throw new Error("the server ended before it served");
}

/** @param {number[]} all @param {number} share */
const quantile = (all, share) => [...all].sort((a, b) => a - b)[Math.min(all.length - 1, Math.floor(share * all.length))] ?? NaN;

/** @param {string} what @param {number[]} ms @param {string} mark what is hoped for */
const say = (what, ms, mark) =>
  console.log(`${what.padEnd(52)} median ${quantile(ms, 0.5).toFixed(1)} ms, 95 % ${quantile(ms, 0.95).toFixed(1)} ms, of ${ms.length} (${mark})`);

/** Processor time of the browser's page and drawing processes so far, in ms: other programs on a busy machine do not lengthen it. */
async function worked() {
  const asked = await browser.newBrowserCDPSession();
  const { processInfo } = await asked.send("SystemInfo.getProcessInfo");
  await asked.detach();
  return processInfo.filter((p) => p.type !== "browser").reduce((sum, p) => sum + 1000 * p.cpuTime, 0);
}

const strips = ["besides/1000/000", "besides/1000/001", "besides/1000/002", "besides/1000/003", "besides/1000/004", "besides/200/005", "besides/200/006", "power/voltage"];

const browser = await chromium.launch({ executablePath: setting("AFTERBELL_CHROMIUM"), args: ["--disable-gpu", "--no-first-run", "--disable-background-networking"] });
console.log(`load ${loadavg().map((l) => l.toFixed(1)).join(" ")} on ${cpus().length} cores`);

// A server that was just started knows nothing; the second visit finds the signals at hand. What a
// page of one sentence takes to its first paint is what browser and machine need in any case.
/** @type {number[][]} */
const first = [[], []];
/** @type {number[]} */
const least = [];
for (let i = 0; i < 5; i++) {
  const server = await serve();
  for (const visit of [0, 1]) {
    const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
    await page.waitForTimeout(500); // a window that is just being opened is the browser's own work
    await page.goto(`${server.url}/t/millbrook-open/long/heron?from=0&to=140&` + strips.map((s) => "s=" + s).join("&"));
    await page.waitForFunction(() => performance.getEntriesByName("strips drawn").length > 0);
    first[visit]?.push(await page.evaluate(() => performance.getEntriesByName("strips drawn")[0]?.startTime ?? NaN));
    await page.close();
  }
  const bare = await browser.newPage({ viewport: { width: 1280, height: 900 } });
  await bare.waitForTimeout(500);
  await bare.goto(`${server.url}/none`);
  await bare.waitForFunction(() => performance.getEntriesByName("first-contentful-paint").length > 0);
  least.push(await bare.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? NaN));
  await bare.close();
  server.stop();
}
say("first paint of a page of one sentence", least, "what any page takes here");
say("first draw of eight strips, server just started", first[0] ?? [], "under 500");
say("first draw of eight strips, signals at hand", first[1] ?? [], "under 500");

const server = await serve();
const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
await page.goto(`${server.url}/t/millbrook-open/long/heron?from=0&to=140&` + strips.map((s) => "s=" + s).join("&"));
await page.waitForFunction(() => document.getElementById("bench")?.dataset["state"] === "rested");

/** Runs in the page: turns the wheel once a frame. @param {{ zoom: boolean, frames: number }} how */
async function turned({ zoom, frames }) {
  const canvas = document.querySelector("canvas.cursors");
  const box = canvas?.getBoundingClientRect() ?? new DOMRect();
  const [between, work] = [/** @type {number[]} */ ([]), /** @type {number[]} */ ([])];
  let last = 0;
  for (let i = 0; i < frames; i++) {
    const way = Math.floor(i / 30) % 2 === 0 ? 1 : -1;
    let began = 0; // of the frame's work: this is called before what the bench asks for, the one below after it
    requestAnimationFrame(() => { began = performance.now(); });
    canvas?.dispatchEvent(new WheelEvent("wheel", { deltaY: way * (zoom ? -20 : 12), ctrlKey: zoom, clientX: box.left + 400, clientY: box.top + 200, cancelable: true, bubbles: true }));
    await new Promise((done) => requestAnimationFrame((now) => {
      if (last > 0) between.push(now - last);
      last = now;
      work.push(performance.now() - began);
      done(0);
    }));
  }
  return { between, work };
}

for (const [what, address] of /** @type {const} */ ([["whole match", "from=0&to=140"], ["ten seconds", "from=50&to=60"]])) {
  await page.goto(`${server.url}/t/millbrook-open/long/heron?${address}&` + strips.map((s) => "s=" + s).join("&"));
  await page.waitForFunction(() => document.getElementById("bench")?.dataset["state"] === "rested");
  for (const zoom of [false, true]) {
    await page.evaluate(turned, { zoom, frames: 30 }); // to warm up
    const before = await worked();
    const { between, work } = await page.evaluate(turned, { zoom, frames: 240 });
    const took = ((await worked()) - before) / 240;
    say(`${zoom ? "zooming" : "panning"} over ${what}: from frame to frame`, between, "median 16.7, 95 % under 33");
    say(`${zoom ? "zooming" : "panning"} over ${what}: drawing a frame`, work, "under 16.7");
    console.log(`${"".padEnd(52)} ${took.toFixed(1)} ms of processor time a frame, script and drawing of pixels`);
  }
}

const asked = await page.evaluate(async (names) => {
  const main = document.getElementById("bench");
  const out = [];
  let seed = 1;
  const random = () => (seed = (seed * 48271) % 2147483647) / 2147483647;
  for (let i = 0; i < 200; i++) {
    const wide = 150 * 10 ** (-3 * random());
    const from = Number(main?.dataset["start"]) + random() * (140 - wide);
    const q = new URLSearchParams([...names.map((n) => ["signal", n]), ["from", String(from)], ["to", String(from + wide)], ["columns", "808"]]);
    const began = performance.now();
    await (await fetch(`${main?.dataset["api"]}/window?${q}`)).arrayBuffer();
    out.push(performance.now() - began);
  }
  return out;
}, strips);
say("a window of eight strips, asked and read", asked, "95 % under 20");
console.log(`load ${loadavg().map((l) => l.toFixed(1)).join(" ")}`);
server.stop();
await browser.close();
