// @vitest-environment jsdom
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import type { Span } from "./scales";
import { count, samplesIn, Saving } from "./saving";
import type { Piece } from "./windows";

const piece = (from: number, to: number, samples: number, whole = false, t = [1]): Piece => ({
  span: { from, to }, columnS: 0.01,
  trace: { name: "s", unit: "", type: "float64", samples, whole, t: Float64Array.from(t), v: new Float64Array(t.length), text: [], broken: new Uint8Array(t.length), left: new Uint32Array(t.length) },
});

test("samples in view are those the server counted, else those that are there, else a share", () => {
  const view = { from: 10, to: 20 };
  expect(samplesIn(view, piece(10, 20, 1234))).toBe(1234);
  expect(samplesIn(view, piece(0, 30, 5, true, [9, 10, 15, 20, 21]))).toBe(3);
  expect(samplesIn(view, piece(0, 40, 1001))).toBe(250);
  expect(samplesIn(view, undefined)).toBe(0);
});

test("a count is read by its thousands", () => {
  expect([0, 999, 1000, 12345, 1234567].map(count)).toEqual(["0", "999", "1\u202f000", "12\u202f345", "1\u202f234\u202f567"]);
});

let p: HTMLElement;
let strips: string[];
let view: Span;
let files: { name: string; blob: Blob }[];

beforeEach(() => {
  [p, strips, view, files] = [document.createElement("p"), ["a", "b"], { from: 10, to: 20 }, []];
  document.title = "q14 heron: bench";
  vi.useFakeTimers();
  let blob: Blob;
  URL.createObjectURL = (b) => { blob = b as Blob; return "blob:x"; }; // both of which jsdom lacks
  URL.revokeObjectURL = () => {};
  vi.spyOn(HTMLAnchorElement.prototype, "click").mockImplementation(function (this: HTMLAnchorElement) { files.push({ name: this.download, blob }); });
});

afterEach(() => {
  vi.restoreAllMocks();
  vi.useRealTimers();
});

const titles: string[] = [];
function saving(png: Blob | null = new Blob(["png"])): Saving {
  titles.length = 0;
  const desk = {
    svg: (title: string) => { titles.push(title); return "<svg/>"; },
    png: (title: string) => { titles.push(title); return Promise.resolve(png); },
  };
  const api = { saved: (format: string, names: readonly string[], span: Span) => `/samples?${format}&${names.join("+")}&${span.from}-${span.to}` };
  return new Saving(p, api, desk, {
    view: () => view, strips: () => strips, piece: (name) => piece(10, 20, name === "a" ? 1000 : 7), stretch: () => "10.00 to 20.00 s", saying: () => "A piece jammed.",
  });
}

test("it says how much there is of the view, and where each format of it is", () => {
  saving().words();
  expect(p.textContent).toBe("2 signals, 1\u202f007 samples, 10.00 to 20.00 s, as CSV, Parquet or Arrow; the picture as PNG or SVG.");
  expect([...p.querySelectorAll("a")].map((a) => [a.getAttribute("href"), a.hasAttribute("download")]))
    .toEqual(["csv", "parquet", "arrow"].map((f) => [`/samples?${f}&a+b&10-20`, true]));
  strips = ["b"];
  saving().words();
  expect(p.textContent).toMatch(/^1 signal, 7 samples/);
  strips = [];
  saving().words();
  expect(p.textContent).toBe("No signal is shown.");
});

test("a picture is titled by what it shows and named by where it begins", async () => {
  saving().words();
  const [png, svg] = [...p.querySelectorAll("button")];
  svg!.click();
  png!.click();
  await vi.advanceTimersByTimeAsync(1);
  expect(titles).toEqual(["q14 heron: A piece jammed.", "q14 heron: A piece jammed."]);
  expect(files.map((f) => f.name)).toEqual(["q14-heron-10.00.svg", "q14-heron-10.00.png"]);
  expect(files[0]!.blob.type).toBe("image/svg+xml");
});

test("a picture that the browser could not make is not saved", async () => {
  saving(null).words();
  p.querySelector("button")!.click();
  await vi.advanceTimersByTimeAsync(1);
  expect(titles).toHaveLength(1);
  expect(files).toEqual([]);
});
