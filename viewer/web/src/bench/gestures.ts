// What a hand does on the desk: the wheel pans, with Ctrl it zooms; dragging with a mouse
// selects a stretch, with a finger it pans, with two it zooms; a click sets cursor A, with
// Shift B; twice shows the whole match. A flag that is dragged takes its cursor along.

import { inside, length, panned, zoomed, type Span } from "./scales";

export interface Bench {
  view(): Span;
  bounds(): Span;
  whole(): Span;
  cursor(name: "a" | "b"): number | undefined;
  timeAt(clientX: number): number;
  onAxis(clientY: number): boolean;
  /** Width of the plots in pixels. */
  width(): number;
  /** Shows another stretch. */
  look(span: Span): void;
  /** Sets or takes away a cursor. */
  set(name: "a" | "b", at: number | undefined): void;
  /** A stretch that is being chosen; undefined when no longer. */
  choosing(span: Span | undefined): void;
  /** Where the pointer is, in time; undefined when it has left. */
  hover(at: number | undefined): void;
}

const slop = 4; // px that a click may move
const near = 60; // px beside a cursor on the axis that still take its flag

export function gestures(on: HTMLElement, bench: Bench): void {
  const down = new Map<number, PointerEvent>();
  let start: { x: number; view: Span; flag: "a" | "b" | undefined } | undefined;
  let pinch: { view: Span; t0: number; t1: number } | undefined;
  let last: { name: "a" | "b"; was: number | undefined; when: number } | undefined; // what the last click set

  on.addEventListener("wheel", (e) => {
    e.preventDefault();
    const line = e.deltaMode === WheelEvent.DOM_DELTA_LINE ? 16 : 1;
    if (e.ctrlKey || e.metaKey) {
      bench.look(zoomed(bench.view(), bench.timeAt(e.clientX), Math.exp(line * e.deltaY * 0.003), bench.bounds()));
    } else {
      const by = line * (Math.abs(e.deltaX) > Math.abs(e.deltaY) ? e.deltaX : e.deltaY);
      bench.look(panned(bench.view(), by / bench.width(), bench.bounds()));
    }
  }, { passive: false });

  const flagAt = (e: PointerEvent): "a" | "b" | undefined => {
    if (!bench.onAxis(e.clientY)) return undefined;
    const perPx = length(bench.view()) / bench.width();
    const t = bench.timeAt(e.clientX);
    // A's flag stands before its line, B's behind.
    const off = (name: "a" | "b"): number => {
      const at = bench.cursor(name);
      if (at === undefined) return Infinity;
      const px = (t - at) / perPx;
      return (name === "a" ? px <= 4 && px > -near * 1.6 : px >= -4 && px < near * 1.6) ? Math.abs(px) : Infinity;
    };
    const [a, b] = [off("a"), off("b")];
    return a === Infinity && b === Infinity ? undefined : a <= b ? "a" : "b";
  };

  on.addEventListener("pointerdown", (e) => {
    if (e.button !== 0) return;
    on.setPointerCapture(e.pointerId);
    down.set(e.pointerId, e);
    if (down.size === 1) {
      start = { x: e.clientX, view: bench.view(), flag: flagAt(e) };
    } else if (down.size === 2) {
      const [p, q] = [...down.values()];
      pinch = { view: bench.view(), t0: bench.timeAt(p!.clientX), t1: bench.timeAt(q!.clientX) };
      bench.choosing(undefined);
    }
  });

  on.addEventListener("pointermove", (e) => {
    if (!down.has(e.pointerId)) {
      bench.hover(bench.timeAt(e.clientX));
      return;
    }
    down.set(e.pointerId, e);
    if (pinch !== undefined && down.size === 2) {
      pinched(bench, pinch, [...down.values()]);
      return;
    }
    if (start === undefined || down.size > 1) return;
    if (start.flag !== undefined) {
      bench.set(start.flag, bench.timeAt(e.clientX));
    } else if (e.pointerType === "touch") {
      if (Math.abs(e.clientX - start.x) > slop) bench.look(panned(start.view, (start.x - e.clientX) / bench.width(), bench.bounds()));
    } else if (Math.abs(e.clientX - start.x) > slop) {
      const [t0, t1] = [bench.timeAt(start.x), bench.timeAt(e.clientX)];
      bench.choosing({ from: Math.min(t0, t1), to: Math.max(t0, t1) });
    }
  });

  const up = (e: PointerEvent): void => {
    if (!down.delete(e.pointerId)) return;
    if (pinch !== undefined) {
      if (down.size === 0) pinch = undefined;
      start = undefined;
      return;
    }
    if (start === undefined) return;
    const s = start;
    start = undefined;
    bench.choosing(undefined);
    if (e.type === "pointercancel" || s.flag !== undefined) return;
    if (Math.abs(e.clientX - s.x) <= slop) {
      const name = e.shiftKey ? "b" : "a";
      const twice = last !== undefined && last.name === name && e.timeStamp - last.when < 600;
      last = { name, was: twice ? last!.was : bench.cursor(name), when: e.timeStamp };
      bench.set(name, bench.timeAt(e.clientX));
    } else if (e.pointerType !== "touch") {
      const [t0, t1] = [bench.timeAt(s.x), bench.timeAt(e.clientX)];
      bench.look(inside({ from: Math.min(t0, t1), to: Math.max(t0, t1) }, bench.bounds()));
    }
  };
  on.addEventListener("pointerup", up);
  on.addEventListener("pointercancel", up);
  on.addEventListener("pointerleave", () => bench.hover(undefined));

  on.addEventListener("dblclick", (e) => {
    e.preventDefault();
    if (last !== undefined) bench.set(last.name, last.was); // what the two clicks set was not meant
    bench.look(bench.whole());
  });
}

/** Two fingers hold two times where they are. */
function pinched(bench: Bench, p: { view: Span; t0: number; t1: number }, at: readonly PointerEvent[]): void {
  const [x0, x1] = [at[0]!.clientX, at[1]!.clientX];
  if (Math.abs(x1 - x0) < 12) return;
  const view = bench.view();
  const perPx = Math.abs((p.t1 - p.t0) / (x1 - x0));
  const now = length(view) / bench.width();
  const wide = length(view) * (perPx / now);
  const share = (bench.timeAt((x0 + x1) / 2) - view.from) / length(view);
  const middle = (p.t0 + p.t1) / 2;
  bench.look(inside({ from: middle - share * wide, to: middle + (1 - share) * wide }, bench.bounds()));
}
