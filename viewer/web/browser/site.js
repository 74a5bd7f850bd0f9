// The site under test: a data folder filled by the product itself, its server, and a
// browser, once for all test files of one run. AFTERBELL_BIN and AFTERBELL_CHROMIUM name
// the two programs; `go run ./cmd/dev test` sets both.

import { execFile, spawn } from "node:child_process";
import { cp, mkdir, mkdtemp, readdir, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { createInterface } from "node:readline";
import { after } from "node:test";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";
import { gunzipSync } from "node:zlib";
import { chromium } from "playwright-core";

const run = promisify(execFile);
const root = fileURLToPath(new URL("../../../", import.meta.url));
/** Where the sample logs and their profiles are. */
export const samples = join(root, "sample-logs");

/** @typedef {{ event: string, match: string, robot: string, folder: string }} Match */

/** @param {string} name */
export function program(name) {
  const path = process.env[name];
  if (!path) throw new Error(`${name} is not set: run the browser tests with \`go run ./cmd/dev test\``);
  return path;
}

/** Fills a data folder, serves it and starts a browser. */
async function openSite() {
  const bin = program("AFTERBELL_BIN");
  const dir = await mkdtemp(join(tmpdir(), "afterbell-browser-"));
  const [data, other, empty] = [join(dir, "data"), join(dir, "other"), join(dir, "empty")];
  await fill(bin, data, dir);
  const matches = await stored(data);
  await spoil(data);
  await twoSeasons(bin, other, dir);
  await mkdir(empty);
  const [byHand, fixtures] = [join(dir, "byhand"), await madeByHand(join(dir, "fixtures"), join(dir, "byhand"))];
  const servers = [await serve(bin, data), await serve(bin, other), await serve(bin, empty), await serve(bin, byHand)];
  const [url = "", otherURL, emptyURL, byHandURL = ""] = servers.map((s) => s.url);
  const q14 = `${url}/t/millbrook-open/q14/heron`;
  const browser = await chromium.launch({
    executablePath: program("AFTERBELL_CHROMIUM"),
    // Letters as the face has them, not as this machine's settings would bend them.
    args: ["--font-render-hinting=none", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
  return {
    url,
    browser,
    matches,
    /** Sheets of the drawing code's fixtures, files by name. */
    fixtures,
    /** A bench whose match no analysis changes. */
    benchByHand: `${byHandURL}/t/millbrook-open/q14/heron`,
    /** Benches, by what they show. */
    benches: new Map([
      ["a bench", q14],
      ["a bench with everything", `${q14}?from=42.5&to=47&s=path/mouth/beam&s=path/lift/command&s=path/lift/current&s=power/voltage&s=robot/mode&s=game/score&a=44&b=44.6&over=0`],
      ["a bench of five signals", `${url}/t/samples/rookie/curlew`],
      ["a bench of a log that stops", `${url}/t/samples/${"m".repeat(64)}/curlew`],
      ["a bench of nothing but a mode", `${url}/t/samples/silent/curlew`],
    ]),
    /** The board, every sheet, and the pages that say what is wrong, by what they show. */
    pages: new Map([
      ["the board", `${url}/`],
      ...matches.map((m) => /** @type {const} */ ([sheetOf(m), url + sheetOf(m)])),
      ["a season", `${url}/s/heron`],
      ["a fleet", `${url}/e/millbrook-open`],
      ["a fleet by a measure", `${url}/e/2031/samples?by=cycle_s`],
      ["no such event", `${url}/e/nowhere`],
      ["a damaged match", `${url}/m/samples/spoiled/curlew`],
      ["no such match", `${url}/m/nowhere/q1/nobody`],
      ["a match of two seasons", `${otherURL}/m/samples/silent/curlew`],
      ["the board of two seasons", `${otherURL}/`],
      ["the empty board", `${emptyURL}/`],
    ]),
    async close() {
      await browser.close();
      await Promise.all(servers.map((s) => s.stop()));
      await rm(dir, { recursive: true, force: true });
    },
  };
}

/** @param {Pick<Match, "event" | "match" | "robot">} m the match whose sheet's address is wanted */
export const sheetOf = (m) => `/m/${m.event}/${m.match}/${m.robot}`;

/**
 * The demo's event, the six sample logs, and two logs that are hard to show: one that stops
 * early, under the longest name there can be, and one that says nothing but its mode.
 * @param {string} bin
 * @param {string} data
 * @param {string} dir for the logs made here
 */
async function fill(bin, data, dir) {
  await run(bin, ["demo", "--no-open", "--once", "--data", data]);
  /** @type {(robot: string, ...args: string[]) => Promise<unknown>} */
  const load = (robot, ...args) =>
    run(bin, ["import", "--data", data, "--season", "2031", "--event", "samples", "--profile", join(samples, `${robot}.yaml`), ...args]);
  const logs = (await readdir(samples)).filter((name) => /\.csv\.(gz|zst)$/.test(name));
  await load("heron", ...logs.filter((name) => !name.startsWith("rookie")).map((name) => join(samples, name)));
  await load("curlew", join(samples, "rookie.csv.gz"));

  const rows = gunzipSync(await readFile(join(samples, "rookie.csv.gz"))).toString().trimEnd().split("\n");
  const made = {
    ["m".repeat(64)]: rows.slice(0, Math.floor(rows.length * 0.6)),
    silent: rows.filter((row, i) => i === 0 || row.includes(",robot/mode,")),
  };
  for (const [match, kept] of Object.entries(made)) {
    const file = join(dir, `${match}.csv`);
    await writeFile(file, kept.join("\n") + "\n");
    await load("curlew", "--match", match, file);
  }
}

/**
 * Writes the sheets of the fixtures into a folder, and one of them as a match into another.
 * @param {string} folder
 * @param {string} data
 * @returns {Promise<Map<string, string>>} files by name
 */
async function madeByHand(folder, data) {
  await mkdir(folder);
  await run("go", ["run", "./viewer/sheet/fixturesheets", folder, data], { cwd: root });
  return new Map((await readdir(folder)).map((file) => [file.replace(/\.html$/, ""), join(folder, file)]));
}

/** Adds a match whose report is cut off. @param {string} data */
async function spoil(data) {
  const event = join(data, "season=2031", "event=samples");
  const spoiled = join(event, "match=spoiled", "robot=curlew");
  await cp(join(event, "match=silent", "robot=curlew"), spoiled, { recursive: true });
  await writeFile(join(spoiled, "report.json"), '{"report": 1, "ver');
}

/**
 * Fills a folder with one match name in two seasons.
 * @param {string} bin
 * @param {string} data
 * @param {string} dir
 */
async function twoSeasons(bin, data, dir) {
  for (const season of ["2030", "2031"]) {
    await run(bin, ["import", "--data", data, "--season", season, "--event", "samples", "--profile", join(samples, "curlew.yaml"), join(dir, "silent.csv")]);
  }
}

/**
 * @param {string} data
 * @returns {Promise<Match[]>} every match of a data folder
 */
async function stored(data) {
  const out = [];
  for (const file of await readdir(data, { recursive: true })) {
    const [, event, match, robot] = /event=([^\\/]+)[\\/]match=([^\\/]+)[\\/]robot=([^\\/]+)[\\/]report\.json$/.exec(file) ?? [];
    if (event && match && robot) out.push({ event, match, robot, folder: join(data, dirname(file)) });
  }
  return out;
}

/**
 * Starts the server and waits for the line that names its address.
 * @param {string} bin
 * @param {string} data
 */
async function serve(bin, data) {
  const child = spawn(bin, ["serve", "--data", data, "--listen", "127.0.0.1:0"], { stdio: ["ignore", "pipe", "inherit"] });
  const ended = new Promise((done) => child.once("exit", done));
  for await (const line of createInterface({ input: child.stdout })) {
    const url = /^serving on (http:\S+)$/.exec(line)?.[1];
    if (url !== undefined) {
      return {
        url,
        async stop() {
          child.kill();
          await ended;
        },
      };
    }
  }
  throw new Error("the server ended before it served");
}

/**
 * Waits until a bench shows the exact picture of what its address says.
 * @param {import("playwright-core").Page} page
 */
export async function rested(page) {
  await page.waitForTimeout(60); // what the browser itself tells late, such as another width
  await page.waitForFunction(() => document.getElementById("bench")?.dataset["state"] === "rested");
}

/** Closes what a test that failed left open. @type {Set<() => Promise<void>>} */
const open = new Set();

/** A server over an empty data folder of its own. */
export async function empty() {
  const dir = await mkdtemp(join(tmpdir(), "afterbell-browser-"));
  const server = await serve(program("AFTERBELL_BIN"), dir);
  const close = async () => {
    if (!open.delete(close)) return;
    await server.stop();
    await rm(dir, { recursive: true, force: true });
  };
  open.add(close);
  return { url: server.url, close };
}

/** @type {Promise<{ url: string, data: string }> | undefined} */
let played;

/** A server over the season of the demo, played once for all files that want it. */
export const demoSeason = () => (played ??= playSeason());

async function playSeason() {
  const data = await mkdtemp(join(tmpdir(), "afterbell-season-"));
  open.add(async () => rm(data, { recursive: true, force: true }));
  await run(program("AFTERBELL_BIN"), ["demo", "--season", "--once", "--no-open", "--data", data], { maxBuffer: 1 << 26 });
  const server = await serve(program("AFTERBELL_BIN"), data);
  open.add(server.stop);
  return { url: server.url, data };
}

export const site = await openSite();
after(async () => {
  for (const close of [...open].reverse()) await close(); // a server before its folder
  await site.close();
});
