// What keys do on the bench, and the buttons that show the keys and do the same.

import { writes } from "../typing";
import { act, element } from "./elements";
import { panned, zoomed, type Span } from "./scales";

export interface Bench {
  view(): Span;
  bounds(): Span;
  whole(): Span;
  cursor(name: "a" | "b"): number | undefined;
  /** Time under the pointer; undefined when it is elsewhere. */
  pointer(): number | undefined;
  /** Shows another stretch. */
  look(span: Span): void;
  /** Sets or takes away a cursor. */
  set(name: "a" | "b", at: number | undefined): void;
  /** Lets a signal be typed. */
  find(): void;
  /** Goes to the next finding. */
  next(): void;
  /** What opens the finding of a rank; undefined when there is none. */
  opener(rank: number): (() => void) | undefined;
}

const middle = (s: Span): number => (s.from + s.to) / 2;

/** Where a cursor is set. */
const place = (bench: Bench): number => bench.pointer() ?? middle(bench.view());

function zoom(bench: Bench, factor: number): void {
  const [view, a] = [bench.view(), bench.cursor("a")];
  const at = bench.pointer() ?? (a !== undefined && a > view.from && a < view.to ? a : middle(view));
  bench.look(zoomed(view, at, factor, bench.bounds()));
}

const pan = (bench: Bench, share: number): void => bench.look(panned(bench.view(), share, bench.bounds()));

/** What a key does; undefined for nothing. */
export function command(key: string, shift: boolean, bench: Bench): (() => void) | undefined {
  if (/^[1-9]$/.test(key)) return bench.opener(Number(key));
  switch (key) {
    case "+": case "=": return () => zoom(bench, 0.5);
    case "-": case "−": return () => zoom(bench, 2);
    case "ArrowLeft": return () => pan(bench, shift ? -1 : -0.1);
    case "ArrowRight": return () => pan(bench, shift ? 1 : 0.1);
    case "a": case "A": return () => bench.set("a", place(bench));
    case "b": case "B": return () => bench.set("b", place(bench));
    case "n": case "N": return () => bench.next();
    case "/": return () => bench.find();
    case "0": return () => bench.look(bench.whole());
    case "Escape": return () => {
      bench.set("a", undefined);
      bench.set("b", undefined);
    };
    default: return undefined;
  }
}

export function listen(bench: Bench): void {
  document.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || writes(e.target)) return;
    if (e.key === "Escape" && document.querySelector("dialog[open]")) return;
    const does = command(e.key, e.shiftKey, bench);
    if (does === undefined) return;
    e.preventDefault();
    does();
  });
}

/** The keys as buttons, each with what it is called; a button does what its key does. */
const shown = [
  ["zoom", [["+", "+", "Zoom in"], ["−", "-", "Zoom out"]]],
  ["pan", [["←", "ArrowLeft", "Pan back"], ["→", "ArrowRight", "Pan on"]]],
  ["set cursor", [["A", "a", "Set cursor A in the middle"], ["B", "b", "Set cursor B in the middle"]]],
  ["find a signal", [["/", "/", "Find a signal"]]],
  ["next finding", [["N", "n", "Next finding"]]],
] as const;

export function hints(p: HTMLElement, bench: Bench): void {
  p.replaceChildren(...shown.map(([said, keys]) => {
    const hint = element("span", "hint");
    for (const [cap, key, label] of keys) {
      const b = act(cap, () => command(key, false, bench)?.());
      b.className = "keycap";
      b.setAttribute("aria-label", label);
      hint.append(b, " ");
    }
    hint.append(element("span", "says", said));
    return hint;
  }));
}
