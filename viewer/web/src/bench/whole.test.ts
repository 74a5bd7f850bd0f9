// @vitest-environment jsdom
import { beforeEach, expect, test } from "vitest";
import type { Span } from "./scales";
import { frameOf, Whole } from "./whole";

const bounds = { from: -10, to: 160 };
let root: HTMLElement;
let frame: HTMLElement;
let view: Span;

beforeEach(() => {
  [root, frame, view] = [document.createElement("div"), document.createElement("div"), { from: 40, to: 50 }];
  root.setPointerCapture = () => {}; // which jsdom lacks
});

function whole(bell: number, wide = 500): Whole {
  Object.defineProperty(root, "clientWidth", { value: wide, configurable: true });
  return new Whole(root, frame, bell, { view: () => view, bounds: () => bounds, look: (span) => (view = span) });
}

const point = (type: string, x: number, on: Element = root, button = 0): boolean =>
  on.dispatchEvent(new MouseEvent(type, { clientX: x, button, bubbles: true }));

test("the frame stands over its stretch, within the match, and can always be taken", () => {
  expect(frameOf({ from: 50, to: 75 }, 100, 500)).toEqual({ left: 250, width: 125 });
  expect(frameOf({ from: -10, to: 25 }, 100, 500)).toEqual({ left: 0, width: 125 });
  expect(frameOf({ from: 90, to: 130 }, 100, 500)).toEqual({ left: 450, width: 50 });
  expect(frameOf({ from: 50, to: 50.001 }, 100, 500)).toEqual({ left: 250, width: 8 });
});

test("the width is taken from the page again when it was said to change", () => {
  const w = whole(100);
  w.show();
  expect([frame.style.left, frame.style.width, frame.hidden]).toEqual(["200px", "50px", false]);
  Object.defineProperty(root, "clientWidth", { value: 1000, configurable: true });
  w.show();
  expect(frame.style.left).toBe("200px");
  w.refit();
  w.show();
  expect([frame.style.left, frame.style.width]).toEqual(["400px", "100px"]);
});

test("of the pictures in it the one on screen says how wide the match is", () => {
  for (const wide of [0, 250]) {
    const svg = root.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "svg"));
    Object.defineProperty(svg, "clientWidth", { value: wide });
  }
  whole(100).show();
  expect(frame.style.left).toBe("100px");
});

test("the frame is held where it was taken", () => {
  whole(100);
  point("pointerdown", 215); // 43 s
  expect(view).toEqual({ from: 40, to: 50 });
  point("pointermove", 315);
  expect(view).toEqual({ from: 60, to: 70 });
  point("pointerup", 315);
  point("pointermove", 400);
  expect(view).toEqual({ from: 60, to: 70 });
});

test("a press beside the frame brings its middle there, one on the whole match looks nearer", () => {
  whole(100);
  point("pointerdown", 400); // 80 s
  expect(view).toEqual({ from: 75, to: 85 });
  point("pointercancel", 400);
  view = { from: 0, to: 100 };
  point("pointerdown", 400);
  expect(view).toEqual({ from: 75, to: 85 }); // a tenth of the match
});

test("nothing is dragged by another button, by a link, or without a bell", () => {
  whole(100);
  const link = root.appendChild(document.createElement("a"));
  point("pointerdown", 400, root, 2);
  point("pointerdown", 400, link);
  expect(view).toEqual({ from: 40, to: 50 });
  [root, frame] = [document.createElement("div"), document.createElement("div")];
  whole(0).show();
  expect(frame.hidden).toBe(true);
  point("pointerdown", 400);
  expect(view).toEqual({ from: 40, to: 50 });
});
