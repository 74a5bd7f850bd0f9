// @vitest-environment jsdom
import { beforeEach, expect, test } from "vitest";
import type { ComparedPass, Pass, Signal } from "./api";
import { fetchOf, Laid, type Asked, type Bench } from "./laid";
import type { Over } from "./overlay";
import type { Span } from "./scales";
import type { Trace } from "./trace";

const trace = (name: string, from: number): Trace => ({
  name, unit: "A", type: "float64", samples: 2, whole: true, t: Float64Array.of(from, from + 1), v: Float64Array.of(1, 2), text: [], broken: new Uint8Array(2), left: new Uint32Array(2),
});

/** A server with passes of this match, and one other match that has one signal only. */
function server(good: ComparedPass[]): { api: Asked; asked: [match: string, names: readonly string[], span: Span][]; compared: number[] } {
  const asked: [string, readonly string[], Span][] = [];
  const compared: number[] = [];
  const source = (match: string, has: string[]): Pick<Asked, "window" | "signals"> => ({
    signals: () => Promise.resolve(has.map((name) => ({ name }) as Signal)),
    window: (names, span) => {
      asked.push([match, names, span]);
      return Promise.resolve(names.map((n) => trace(n, span.from)));
    },
  });
  const own: Pass[] = [1, 2, 3].map((piece) => ({ piece, enter_s: 100 + 10 * piece, leave_s: 102 + 10 * piece, outcome: "released" }));
  const api: Asked = {
    ...source("", ["lift/current", "power/voltage"]), startS: 100,
    another: (match) => source(match, ["lift/current"]),
    passes: () => Promise.resolve(own),
    compare: (piece) => {
      compared.push(piece);
      return Promise.resolve({ piece, stage: "mouth", enter_s: 100 + 10 * piece, passes: good, time_s: [0, 1], signals: [{ signal: "lift/current", role: "current", low: [1, 1], high: [2, 2] }] });
    },
  };
  return { api, asked, compared };
}

const here: ComparedPass = { match: "", piece: 1, enter_s: 110 };
const there: ComparedPass = { match: "2031/e/q2", piece: 7, enter_s: 5 };
const names = ["lift/current", "power/voltage"];
const bounds = { from: 0, to: 150 };

let p: HTMLElement;
let view: Span;
let wanted: string | undefined;
let trouble: string;

beforeEach(() => {
  document.body.replaceChildren();
  [p, view, wanted, trouble] = [document.body.appendChild(document.createElement("p")), { from: 19, to: 23 }, undefined, ""];
});

const bench: Bench = {
  view: () => view, wanted: () => wanted, trouble: () => trouble,
  want: (key) => (wanted = key),
  became: (key) => (wanted = key),
};

const press = (said: string): void => [...p.querySelectorAll("button")].find((b) => b.textContent === said)!.click();
const load = (laid: Laid): Promise<void> => laid.load(names, view, 100, bounds, () => {});

test("a pass is fetched where it was and drawn at this match's time, of the signals it has", async () => {
  const { api, asked } = server([]);
  const over: Over = { key: "2031/e/q2:7", words: "", stage: "", match: "2031/e/q2", shiftS: 115 };
  const signal = new AbortController().signal;
  const got = await fetchOf(api, over)(names, { from: 19, to: 23 }, 100, signal);
  expect(asked).toEqual([["2031/e/q2", ["lift/current"], { from: -96, to: -92 }]]);
  expect(got.map((t) => [t.name, ...t.t])).toEqual([["lift/current", 19, 20]]);
  expect(await fetchOf(api, over)(["power/voltage"], { from: 19, to: 23 }, 100, signal)).toEqual([]);
  expect(asked).toHaveLength(1);
  await fetchOf(api, { ...over, match: "", shiftS: 10 })(names, { from: 19, to: 23 }, 100, signal);
  expect(asked[1]).toEqual(["", names, { from: 9, to: 13 }]);
});

test("the usual one is laid over what is on screen, another, and none", async () => {
  const { api, compared } = server([here, there]);
  const laid = new Laid(p, api, bench);
  await load(laid);
  expect(p.textContent).toBe("Lay a usual pass over");
  expect(laid.trace("lift/current", view, 0.04)).toBeUndefined();

  press("Lay a usual pass over");
  expect(wanted).toBe("0");
  await load(laid);
  expect(compared).toEqual([2]); // the piece that is on screen
  expect(wanted).toBe("1");
  expect(p.textContent).toMatch(/^Laid over: pass 1, a usual one, both starting at the mouth beam /);
  expect(p.querySelector(".shaded")).not.toBeNull();
  expect(laid.trace("lift/current", view, 0.04)?.name).toBe("lift/current");
  expect(laid.usual("lift/current")?.t[0]).toBe(20);

  press("another");
  expect(wanted).toBe("2031/e/q2:7");
  await load(laid);
  expect(p.querySelector("b")?.textContent).toBe("pass 7 of q2");
  expect(laid.trace("power/voltage", view, 0.04)).toBeUndefined(); // which that match lacks
  expect(compared).toEqual([2]); // asked once

  press("none");
  await load(laid);
  expect(wanted).toBeUndefined();
  expect(laid.trace("lift/current", view, 0.04)).toBeUndefined();
  expect(laid.usual("lift/current")).toBeUndefined();
  view = { from: 30, to: 33 };
  press("Lay a usual pass over");
  await load(laid);
  expect(compared).toEqual([2, 3]); // another piece is on screen now
});

test("it says when there is none, and why nothing could be asked", async () => {
  const { api } = server([]);
  const laid = new Laid(p, api, bench);
  wanted = "0";
  const done = load(laid);
  expect(p.textContent).toBe("Looking for usual passes … Lay a usual pass over");
  await done;
  expect(wanted).toBeUndefined();
  expect(p.textContent).toBe("No good pass is known to lay over. Lay a usual pass over");

  const lost = new Laid(p, { ...api, passes: () => Promise.reject(new Error("the report is cut off")) }, bench);
  wanted = "3";
  await load(lost);
  expect(wanted).toBeUndefined();
  expect(p.textContent).toBe("the report is cut off Lay a usual pass over");
});

test("views that come to rest while passes are looked for wait for the same answer", async () => {
  const { api, compared } = server([here]);
  const laid = new Laid(p, api, bench);
  wanted = "0";
  await Promise.all([load(laid), load(laid)]);
  expect(compared).toEqual([2]);
});

test("what could not be read is said instead, and the focus stays on a button", async () => {
  const laid = new Laid(p, server([here]).api, bench);
  await load(laid);
  const button = p.querySelector("button")!;
  button.focus();
  laid.words();
  expect(document.activeElement).not.toBe(button);
  expect(document.activeElement).toBe(p.querySelector("button"));
  trouble = "signals.parquet: cut off";
  laid.words();
  expect(p.querySelector(".trouble")?.textContent).toBe("Not everything could be read: signals.parquet: cut off");
});
