// Files of a match as other programs read them: DuckDB, hyparquet and Arrow for JavaScript, none of
// which share code with this project. Each must find the same rows and the same sums.

import assert from "node:assert/strict";
import { execFile } from "node:child_process";
import { readdir, readFile } from "node:fs/promises";
import { join } from "node:path";
import { test } from "node:test";
import { promisify } from "node:util";
import { DuckDBInstance } from "@duckdb/node-api";
import { tableFromIPC } from "apache-arrow";
import { asyncBufferFromFile, parquetReadObjects } from "hyparquet";
import { compressors } from "hyparquet-compressors";
import { program, site } from "./site.js";

const run = promisify(execFile);
/** How many matches are opened: all have the same files. */
const looked = 3;
const reference = "millbrook-open/q14/heron";

/** @param {import("@duckdb/node-api").DuckDBConnection} db @param {string} sql */
const rows = async (db, sql) => (await db.runAndReadAll(sql)).getRowObjects();

/** The sum of the numbers in each column, and how many there are. @param {Record<string, unknown>[]} all */
function sums(all) {
  /** @type {Record<string, { n: number, sum: number }>} */
  const out = {};
  for (const row of all) {
    for (const [name, value] of Object.entries(row)) {
      if (typeof value !== "number" && typeof value !== "bigint") continue;
      const of = (out[name] ??= { n: 0, sum: 0 });
      of.n++;
      if (Number.isFinite(Number(value))) of.sum += Number(value);
    }
  }
  return out;
}

/** @param {ReturnType<typeof sums>} a @param {ReturnType<typeof sums>} b @param {string} what */
function same(a, b, what) {
  assert.deepEqual(Object.keys(a).sort(), Object.keys(b).sort(), what);
  for (const name of Object.keys(a)) {
    const [x, y] = [a[name], b[name]];
    assert.ok(x && y);
    assert.equal(x.n, y.n, `${what}: values of ${name}`);
    assert.ok(Math.abs(x.sum - y.sum) <= 1e-9 * (1 + Math.abs(x.sum)), `${what}: ${name} sums to ${x.sum} and ${y.sum}`);
  }
}

test("every Parquet file of a match opens in DuckDB and hyparquet with the same sums", async () => {
  const db = await (await DuckDBInstance.create(":memory:")).connect();
  let files = 0;
  const whole = site.matches.filter((m) => m.match !== "spoiled").slice(0, looked); // that one is damaged on purpose
  for (const match of whole) {
    for (const name of (await readdir(match.folder)).filter((f) => f.endsWith(".parquet"))) {
      const path = join(match.folder, name);
      const theirs = await rows(db, `select * from read_parquet('${path.replaceAll("'", "''")}', hive_partitioning = false)`);
      const file = await asyncBufferFromFile(path);
      const others = await parquetReadObjects({ file, compressors });
      assert.equal(theirs.length, others.length, path);
      same(sums(theirs), sums(others), path);
      files++;
    }
  }
  assert.equal(whole.length, looked);
  assert.ok(files >= looked * 12, `${files} files were looked at`);
});

test("partition folders are columns, and samples are those that export writes", async () => {
  const db = await (await DuckDBInstance.create(":memory:")).connect();
  const data = (site.matches[0]?.folder ?? "").split("/season=")[0];
  const found = await rows(db, `select match, robot, jams, lowest_v from read_parquet('${data}/*/*/*/*/match.parquet', hive_partitioning = true, union_by_name = true) where event = 'millbrook-open' order by match`);
  assert.ok(found.some((r) => r["match"] === "q14" && r["robot"] === "heron"));

  const folder = site.matches.find((m) => `${m.event}/${m.match}/${m.robot}` === reference)?.folder ?? "";
  const [count] = await rows(db, `select count(*)::double n, sum(case when isfinite(value) then value else 0 end) total, count(distinct signal)::double signals from read_parquet('${folder}/signals.parquet')`);
  const { stdout } = await run(program("AFTERBELL_BIN"), ["export", reference, "--data", data ?? "", "--format", "arrow"], { encoding: "buffer", maxBuffer: 1 << 30 });
  const table = tableFromIPC(stdout);
  assert.equal(table.numRows, count?.["n"]);
  let total = 0;
  const names = new Set();
  for (const row of table) {
    names.add(row["signal"]);
    const value = row["value"] ?? row["value_int"] ?? row["value_bool"];
    if (value !== null && value !== undefined && Number.isFinite(Number(value))) total += Number(value);
  }
  assert.equal(names.size, count?.["signals"]);
  const want = Number(count?.["total"]);
  assert.ok(Math.abs(total - want) <= 1e-9 * (1 + Math.abs(want)), `${total} and ${want}`);
  assert.ok((await readFile(join(folder, "report.json"))).length > 0);
});
