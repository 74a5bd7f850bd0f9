// @vitest-environment jsdom
import { beforeEach, expect, test } from "vitest";
import { command, hints, listen, type Bench } from "./commands";
import type { Span } from "./scales";

let view: Span;
let pointer: number | undefined;
const cursors: { a: number | undefined; b: number | undefined } = { a: undefined, b: undefined };
let done: string[];

const bench: Bench = {
  view: () => view, bounds: () => ({ from: 0, to: 100 }), whole: () => ({ from: 0, to: 90 }), pointer: () => pointer,
  cursor: (name) => cursors[name],
  look: (span) => (view = span),
  set: (name, at) => (cursors[name] = at),
  find: () => done.push("find"),
  next: () => done.push("next"),
  opener: (rank) => (rank <= 2 ? () => done.push(`open ${rank}`) : undefined),
};

beforeEach(() => {
  document.body.replaceChildren();
  [view, pointer, done] = [{ from: 40, to: 50 }, undefined, []];
  Object.assign(cursors, { a: undefined, b: undefined });
});

const press = (key: string, shift = false): void => command(key, shift, bench)?.();

test("zoom holds the time at the pointer, else at cursor A in view, else in the middle", () => {
  press("+");
  expect(view).toEqual({ from: 42.5, to: 47.5 });
  press("-");
  expect(view).toEqual({ from: 40, to: 50 });
  cursors.a = 42;
  press("=");
  expect(view).toEqual({ from: 41, to: 46 });
  cursors.a = 70; // out of view
  press("−");
  expect(view).toEqual({ from: 38.5, to: 48.5 });
  pointer = 38.5;
  press("+");
  expect(view).toEqual({ from: 38.5, to: 43.5 });
});

test("arrows pan a tenth, with Shift a screen; 0 is the whole match", () => {
  press("ArrowRight");
  expect(view).toEqual({ from: 41, to: 51 });
  press("ArrowLeft", true);
  expect(view).toEqual({ from: 31, to: 41 });
  press("0");
  expect(view).toEqual({ from: 0, to: 90 });
});

test("cursors are set at the pointer, else in the middle, and both taken away", () => {
  press("a");
  pointer = 48;
  press("B", true);
  expect(cursors).toEqual({ a: 45, b: 48 });
  press("Escape");
  expect(cursors).toEqual({ a: undefined, b: undefined });
});

test("a figure opens the finding of that rank, if there is one", () => {
  press("2");
  press("n");
  press("/");
  expect(done).toEqual(["open 2", "next", "find"]);
  expect(command("3", false, bench)).toBeUndefined();
  expect(command("x", false, bench)).toBeUndefined();
});

test("keys of others are left alone: written, with Ctrl, or closing a dialog", () => {
  listen(bench);
  const input = document.body.appendChild(document.createElement("input"));
  const key = (on: EventTarget, how: KeyboardEventInit): boolean => !on.dispatchEvent(new KeyboardEvent("keydown", { bubbles: true, cancelable: true, ...how }));
  expect(key(document.body, { key: "1" })).toBe(true);
  expect(key(document.body, { key: "3" })).toBe(false);
  expect(key(input, { key: "1" })).toBe(false);
  expect(key(document.body, { key: "1", ctrlKey: true })).toBe(false);
  expect(done).toEqual(["open 1"]);
  cursors.a = 3;
  const dialog = document.body.appendChild(document.createElement("dialog"));
  dialog.setAttribute("open", "");
  expect(key(document.body, { key: "Escape" })).toBe(false);
  expect(cursors.a).toBe(3);
  dialog.remove();
  expect(key(document.body, { key: "Escape" })).toBe(true);
  expect(cursors.a).toBeUndefined();
});

test("every button that shows a key does what it is called", () => {
  const p = document.createElement("p");
  hints(p, bench);
  const by = (label: string): HTMLElement => p.querySelector(`[aria-label="${label}"]`)!;
  expect([...p.querySelectorAll(".hint")].map((h) => h.textContent)).toEqual(["+ − zoom", "← → pan", "A B set cursor", "/ find a signal", "N next finding"]);
  by("Zoom in").click();
  expect(view).toEqual({ from: 42.5, to: 47.5 });
  by("Zoom out").click();
  by("Pan on").click();
  by("Pan on").click();
  by("Pan back").click();
  expect(view).toEqual({ from: 41, to: 51 });
  by("Set cursor A in the middle").click();
  by("Set cursor B in the middle").click();
  expect(cursors).toEqual({ a: 46, b: 46 });
  by("Find a signal").click();
  by("Next finding").click();
  expect(done).toEqual(["find", "next"]);
});
