// The questions of schemas/cookbook.md, each put to a real DuckDB as it stands there, over the
// season of the demo. The answers are compared with the reports, which DuckDB does not read, and
// with what `afterbell season` says.

import assert from "node:assert/strict";
import { execFile } from "node:child_process";
import { readdir, readFile } from "node:fs/promises";
import { join } from "node:path";
import { before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";
import { DuckDBInstance } from "@duckdb/node-api";
import { demoSeason, program, samples } from "./site.js";

const run = promisify(execFile);
const cookbook = fileURLToPath(new URL("../../../schemas/cookbook.md", import.meta.url));
const robot = "heron";

/** @typedef {Record<string, any>} Row */

/** @type {string} */ let data;
/** @type {Map<string, string>} */ const recipes = new Map();
/** @type {Row[]} */ const reports = [];
/** @type {Row} */ let season;
/** @type {import("@duckdb/node-api").DuckDBConnection} */ let db;
const asked = new Set();

before(async () => {
  for (const [, title = "", sql = ""] of (await readFile(cookbook, "utf8")).matchAll(/^## (.+)\n[^]*?```sql\n([^]*?)```/gm)) recipes.set(title, sql);
  data = (await demoSeason()).data;
  const bin = program("AFTERBELL_BIN");
  // One jam denied, so that what the crew says shows.
  const first = (await found()).find((r) => r["findings"].some((/** @type {Row} */ f) => f["kind"] === "jam"));
  assert.ok(first);
  const jam = first["findings"].find((/** @type {Row} */ f) => f["kind"] === "jam");
  await run(bin, ["verdict", `${first["match"].event}/${first["match"].match}/${robot}`, jam["id"], "no", "--data", data]);
  denied = { ...first["match"], start_s: jam["start_s"] };
  reports.push(...(await found()));
  season = JSON.parse((await run(bin, ["season", robot, "--json", "--data", data], { maxBuffer: 1 << 26 })).stdout);
  db = await (await DuckDBInstance.create(":memory:")).connect();
});

/** @type {Row} */ let denied;

async function found() {
  const out = [];
  for (const file of await readdir(data, { recursive: true })) if (file.endsWith("/report.json")) out.push(JSON.parse(await readFile(join(data, file), "utf8")));
  return out.sort((a, b) => a.match.at.localeCompare(b.match.at));
}

/** Asks a question of the cookbook, from inside the data folder. @param {string} title @param {string} [folder] @returns {Promise<Row[]>} */
async function ask(title, folder = data) {
  const sql = recipes.get(title);
  assert.ok(sql, title);
  asked.add(title);
  const here = process.cwd();
  process.chdir(folder);
  try {
    return (await db.runAndReadAll(sql)).getRowObjectsJS().map((r) => Object.fromEntries(Object.entries(r).map(([k, v]) => [k, typeof v === "bigint" ? Number(v) : v])));
  } finally {
    process.chdir(here);
  }
}

/** @param {unknown} a @param {unknown} b @param {string} what */
function near(a, b, what) {
  if (a === null || b === null) return assert.equal(a, b, what);
  assert.ok(Math.abs(Number(a) - Number(b)) <= 1e-9 * (1 + Math.abs(Number(b))), `${what}: ${a} and ${b}`);
}
/** @param {number[]} of */
const sum = (of) => of.reduce((a, b) => a + b, 0);
/** @param {number[]} of */
function median(of) {
  const s = [...of].sort((a, b) => a - b);
  return s.length === 0 ? null : (/** @type {number} */ (s[(s.length - 1) >> 1]) + /** @type {number} */ (s[s.length >> 1])) / 2;
}
/** @param {Row} r @param {Row} j */
const isDenied = (r, j) => r["match"].event === denied["event"] && r["match"].match === denied["match"] && j["start_s"] === denied["start_s"];
/** Jams of a report that the crew did not deny. @param {Row} r @returns {Row[]} */
const jams = (r) => r["jams"].filter((/** @type {Row} */ j) => !isDenied(r, j));
/** @param {Row} r */
const cycle = (r) => median(r["cycles"].filter((/** @type {Row} */ c) => c["kind"] === "score" && c["complete"] && c["period"] === "driver").map((/** @type {Row} */ c) => c["duration_s"]));
/** @param {string} measure @returns {Row[]} */
const points = (measure) => season["measures"].find((/** @type {Row} */ m) => m["name"] === measure)["points"];
/** @param {Row} p */
const eventOf = (p) => season["matches"][p["index"]].event;

test("jams by stage", async () => {
  const rows = await ask("Jams by stage");
  assert.deepEqual(rows.map((r) => r["stage"]), reports[0]?.["stages"].map((/** @type {Row} */ s) => s["stage"]));
  for (const r of rows) {
    near(r["jams"], sum(reports.map((m) => jams(m).filter((j) => j["stage"] === r["stage"]).length)), `jams of ${r["stage"]}`);
    near(r["passes"], sum(reports.map((m) => m["stages"].find((/** @type {Row} */ s) => s["stage"] === r["stage"]).passes)), `passes of ${r["stage"]}`);
    near(r["rate"], r["jams"] / r["passes"], "rate");
  }
  assert.ok(sum(rows.map((r) => r["jams"])) > 10, "the demo's belt jams");
  for (const r of rows) {
    const all = points(`jam_rate/${r["stage"]}`);
    near(r["passes"], sum(all.map((p) => p["of"])), `passes of ${r["stage"]} of the season`);
    near(r["jams"], sum(all.map((p) => p["value"] * p["of"])), `jams of ${r["stage"]} of the season`);
  }
});

test("jams by stage and belt", async () => {
  const log = (await readFile(join(data, "parts", `${robot}.txt`), "utf8")).split("\n").filter((l) => /^\d/.test(l) && l.includes(" part "));
  const belts = log.map((l) => ({ since: new Date(`${l.slice(0, 10)}T${l.slice(11, 16).trim() || "00:00"}:00`), belt: l.slice(27) }));
  assert.ok(belts.length > 1, "the demo's crew tries two belts");
  /** @type {Record<string, { passes: number, jams: number }>} */
  const want = {};
  for (const m of reports) {
    const belt = belts.filter((b) => b.since <= new Date(m["match"].at)).at(-1)?.belt ?? "as built";
    for (const s of m["stages"]) {
      const of = (want[`${s["stage"]}: ${belt}`] ??= { passes: 0, jams: 0 });
      of.passes += s["passes"];
      of.jams += jams(m).filter((j) => j["stage"] === s["stage"]).length;
    }
  }
  const got = Object.fromEntries((await ask("Jams by stage and belt")).map((r) => [`${r["stage"]}: ${r["belt"]}`, { passes: r["passes"], jams: r["jams"] }]));
  assert.deepEqual(got, want);
});

test("resistance by battery and week", async () => {
  const rows = await ask("Resistance by battery and week");
  /** @type {Record<string, number[]>} */
  const of = {};
  for (const m of reports) if (m["battery"].resistance_ohm !== null) (of[m["battery"].id] ??= []).push(m["battery"].resistance_ohm);
  assert.deepEqual([...new Set(rows.map((r) => r["battery"]))], Object.keys(of).sort());
  for (const [battery, all] of Object.entries(of)) {
    const mine = rows.filter((r) => r["battery"] === battery);
    near(sum(mine.map((r) => r["matches"])), all.length, `matches with ${battery}`);
    for (const r of mine) {
      const [from, to] = [r["week"].getTime(), r["week"].getTime() + 7 * 86400e3];
      const week = reports.filter((m) => m["battery"].id === battery && m["battery"].resistance_ohm !== null && Date.parse(m["match"].at) >= from && Date.parse(m["match"].at) < to);
      near(r["matches"], week.length, "of a week");
      near(r["resistance_ohm"], median(week.map((m) => m["battery"].resistance_ohm)), `${battery} in a week`);
    }
  }
});

test("the usual cycle at each event", async () => {
  const rows = await ask("The usual cycle at each event");
  for (const r of rows) {
    const all = reports.filter((m) => m["match"].event === r["event"]);
    near(r["matches"], all.length, r["event"]);
    near(r["cycle_s"], median(all.map(cycle).filter((c) => c !== null)), `cycle at ${r["event"]}`);
    near(r["pieces"], sum(all.flatMap((m) => m["cycles"].filter((/** @type {Row} */ c) => c["kind"] === "score" && c["complete"]).map((/** @type {Row} */ c) => c["pieces"]))) / all.length, `pieces at ${r["event"]}`);
    if (!r["event"].includes("practice")) near(r["cycle_s"], median(points("cycle_s").filter((p) => eventOf(p) === r["event"]).map((p) => p["value"])), `the season's cycle at ${r["event"]}`);
  }
  assert.equal(rows.length, new Set(reports.map((m) => m["match"].event)).size);
});

test("where slow cycles lose their time", async () => {
  const slow = reports.flatMap((m) => m["cycles"].filter((/** @type {Row} */ c) => c["slow"]));
  const rows = await ask("Where slow cycles lose their time");
  for (const r of rows) {
    const mine = slow.filter((c) => c["why"] === r["why"]);
    near(r["cycles"], mine.length, `${r["why"]}`);
    near(r["seconds"], sum(mine.map((c) => c["duration_s"])), `seconds of ${r["why"]}`);
  }
  near(sum(rows.map((r) => r["cycles"])), slow.length, "all of them");
  assert.ok(slow.length > 0);
});

test("level on the platform, event by event", async () => {
  const rows = await ask("Level on the platform, event by event");
  for (const r of rows) {
    const all = reports.filter((m) => m["match"].event === r["event"]).flatMap((m) => m["balances"]);
    near(r["attempts"], all.length, r["event"]);
    near(r["level"], all.filter((b) => b["outcome"] === "level").length, `level at ${r["event"]}`);
    near(r["settle_s"], median(all.map((b) => b["settle_s"]).filter((s) => s !== null)), `settle at ${r["event"]}`);
    near(r["overshoots"], sum(all.map((b) => b["overshoots"])) / all.length, `overshoots at ${r["event"]}`);
  }
  assert.ok(rows.length > 1);
});

test("who drew the current in brownouts", async () => {
  const [bin, more] = [program("AFTERBELL_BIN"), join(data, "brownouts")];
  // The season of the demo may have none.
  await run(bin, ["import", join(samples, "brownout.csv.gz"), "--profile", join(samples, "heron.yaml"), "--event", "samples", "--match", "brownout", "--data", more]);
  const { brownouts } = JSON.parse((await run(bin, ["analyze", "samples/brownout/heron", "--json", "--data", more], { maxBuffer: 1 << 26 })).stdout);
  const rows = await ask("Who drew the current in brownouts", more);
  assert.ok(rows.length > 1 && brownouts.length > 0);
  for (const r of rows) {
    const shares = brownouts.flatMap((/** @type {Row} */ b) => b["branches"].filter((/** @type {Row} */ x) => x["name"] === r["branch"]).map((/** @type {Row} */ x) => x["share"]));
    near(r["brownouts"], shares.length, r["branch"]);
    near(r["share"], sum(shares) / shares.length, `share of ${r["branch"]}`);
  }
});

test("what costs the most seconds", async () => {
  const rows = await ask("What costs the most seconds");
  const all = reports.flatMap((m) => m["findings"]);
  for (const r of rows) {
    const mine = all.filter((f) => f["kind"] === r["kind"]);
    near(r["findings"], mine.length, r["kind"]);
    const costs = mine.map((f) => f["cost_s"]).filter((c) => c !== null);
    near(r["cost_s"], costs.length > 0 ? sum(costs) : null, `cost of ${r["kind"]}`);
  }
  near(sum(rows.map((r) => r["findings"])), all.length, "all findings");
});

test("the supply just before each jam", async () => {
  const rows = await ask("The supply just before each jam");
  const all = reports.flatMap((m) => m["jams"].map((/** @type {Row} */ j) => ({ ...j, ...m["match"], at_s: j["start_s"] })));
  assert.ok(rows.length > 10 && rows.length === all.length, `${rows.length} of ${all.length}`);
  // One of them sample by sample, from the log that export writes.
  const r = /** @type {Row} */ (rows[0]);
  const { stdout } = await run(program("AFTERBELL_BIN"), ["export", `${r["event"]}/${r["match"]}/${robot}`, "--signal", "power/voltage", "--format", "jsonl", "--data", data], { maxBuffer: 1 << 28 });
  const lines = stdout.trim().split("\n").map((l) => JSON.parse(l)).filter((s) => "time_s" in s && s["time_s"] >= r["start_s"] - 1 && s["time_s"] <= r["start_s"]);
  assert.ok(lines.length > 0);
  near(r["lowest_v"], Math.min(...lines.map((s) => s["value"] ?? s["power/voltage"])), "the lowest sample");
});

test("robots side by side", async () => {
  const rows = await ask("Robots side by side");
  assert.equal(rows.length, 1);
  const [r] = rows;
  near(r?.["matches"], reports.length, "matches");
  near(r?.["cycle_s"], median(reports.map(cycle).filter((c) => c !== null)), "cycle");
  near(r?.["jams"], sum(reports.map((m) => jams(m).length)), "jams");
  near(r?.["passes"], sum(reports.map((m) => m["passes"].length)), "passes");
  const attempts = reports.flatMap((m) => m["balances"]);
  near(r?.["level_rate"], attempts.filter((b) => b["outcome"] === "level").length / attempts.length, "level rate");
});

test("every question of the cookbook was asked", () => {
  assert.deepEqual([...asked].sort(), [...recipes.keys()].sort());
  assert.ok(recipes.size >= 10);
});
