import { expect, test } from "vitest";
import type { Value } from "./api";
import { Readings } from "./readings";

const value = (v: number): Value => ({ time_s: 0, value: v, text: null });

/** A server whose value of every signal is the time it is asked for. */
function server() {
  const answers: (() => void)[] = [];
  const asked: (readonly number[])[] = [];
  const values = (names: readonly string[], times: readonly number[]): Promise<Map<string, Value[]>> => {
    asked.push(times);
    return new Promise((done) => answers.push(() => done(new Map(names.map((n) => [n, times.map(value)])))));
  };
  return { api: { values }, asked, answer: (at = 0) => answers.splice(at, 1)[0]!() };
}

test("readings are asked for once, and stand at the cursor they are of", async () => {
  const { api, asked, answer } = server();
  let state: { a: number | undefined; b: number | undefined; strips: string[] } = { a: 1, b: 2, strips: ["s"] };
  const r = new Readings(api, () => state);
  const done = r.load();
  expect(r.get()("s")).toEqual([undefined, undefined]);
  answer();
  await done;
  expect(r.get()("s").map((v) => v?.value)).toEqual([1, 2]);
  expect(r.get()("other")).toEqual([undefined, undefined]);
  await r.load();
  expect(asked).toEqual([[1, 2]]);

  state = { ...state, a: undefined };
  expect(r.get()("s")).toEqual([undefined, undefined]); // of cursors that were
  const again = r.load();
  answer();
  await again;
  expect(r.get()("s").map((v) => v?.value)).toEqual([undefined, 2]);
});

test("nothing is asked without a cursor or a strip, and an answer that comes too late is dropped", async () => {
  const { api, asked, answer } = server();
  let state: { a: number | undefined; b: number | undefined; strips: string[] } = { a: undefined, b: undefined, strips: ["s"] };
  const r = new Readings(api, () => state);
  await r.load();
  state = { a: 1, b: undefined, strips: [] };
  await r.load();
  expect(asked).toEqual([]);
  state = { a: 1, b: undefined, strips: ["s"] };
  const late = r.load();
  state = { ...state, a: 5 };
  const now = r.load();
  answer(1);
  await now;
  answer();
  await late;
  expect(r.get()("s")[0]?.value).toBe(5);
});
