// The desk: strips one below the other with their names at the left and what they read at
// the cursors at the right, drawn on two canvases, of which the upper holds what follows
// the pointer.

import { holds, type Signal, type Value } from "./api";
import { element } from "./elements";
import { axisY, boundsOf, edges, paint, paintCursors, top, x, type Band, type Scene, type Strip, type Tokens } from "./paint";
import { clock, difference, fixed, length, reading, type Span } from "./scales";
import { columnsOf, layoutOf, type Layout } from "./layout";
import type { Usual } from "./overlay";
import { CanvasSurface, SVGSurface, type Surface, type Type } from "./surface";
import type { Trace } from "./trace";

/** Height of a strip and of the words above its plot. */
export function heightOf(type: Trace["type"], l: Layout, count: number): { head: number; h: number } {
  const head = l.stacked ? 24 : 0;
  const plot = { float64: l.stacked ? 84 : count > 6 ? 80 : 96, int64: l.stacked ? 56 : 64, bool: 26, text: 30 }[type];
  return { head, h: head + plot };
}

/** Height of a desk with strips of these types. */
export function deskHeight(types: readonly Trace["type"][], l: Layout): number {
  return types.reduce((y, type) => y + heightOf(type, l, types.length).h, top);
}

const words = { height: 18 };

/** What a desk shows of one signal. */
export interface Row {
  readonly name: string;
  readonly signal: Signal | undefined; // until it is known
  readonly trace: Trace | undefined;
  readonly over: Trace | undefined;
  readonly usual: Usual | undefined;
  readonly values: readonly [Value | undefined, Value | undefined]; // at A and B
}

export interface Shown {
  readonly view: Span;
  readonly a: number | undefined;
  readonly b: number | undefined;
  readonly bands: readonly Band[];
  readonly rows: readonly Row[];
}

/** A signal's name as two lines: what it belongs to, and what it is. */
export function named(name: string): [string, string] {
  const at = name.lastIndexOf("/");
  return at < 0 ? ["", name] : [name.slice(0, at), name.slice(at + 1)];
}

/** What stands below a name: the unit and how often it comes. */
export function kindOf(s: Signal | undefined): string {
  if (s === undefined) return "";
  const rate = s.rate_hz >= 0.95 && s.type !== "text" ? `${s.rate_hz < 10 ? s.rate_hz.toFixed(1) : Math.round(s.rate_hz)} Hz` : "";
  const what = s.type === "bool" ? "true or false" : s.type === "text" ? "text" : s.unit !== "" ? s.unit : s.type === "int64" ? "count" : "";
  return [what, rate].filter((w) => w !== "").join(", ");
}

/** A value in words; a state is said as one. */
export function said(v: Value | undefined, type: Trace["type"] | undefined): string {
  if (v === undefined) return "";
  if (v.text !== null) return v.text;
  if (v.value === null) return "unknown";
  return type === "bool" ? (v.value !== 0 ? "true" : "false") : reading(v.value);
}

/** What B is less A, in words; nothing where there is no difference of numbers. */
function less(values: Row["values"], type: Trace["type"] | undefined): string {
  const [a, b] = [values[0]?.value, values[1]?.value];
  return a == null || b == null || type === "bool" || type === "text" ? "" : difference(b - a);
}

export class Desk {
  readonly canvas = element("canvas", "plots");
  private readonly over = element("canvas", "cursors");
  private readonly heads = element("div", "heads");
  private readonly reads = element("div", "reads");
  private readonly table = element("div", "for-readers");
  private tokens: Tokens;
  layout: Layout;
  private shown: Shown | undefined;
  private places: { name: string; y: number; h: number; head: number }[] = [];
  private headKey = "";
  private overEmpty = false;
  private readonly bounds = new Map<string, readonly [number, number]>();

  constructor(private readonly root: HTMLElement, private readonly drop: (name: string) => void, private readonly move: (name: string, by: number) => void) {
    this.canvas.setAttribute("role", "img");
    this.over.setAttribute("aria-hidden", "true");
    this.reads.setAttribute("aria-hidden", "true"); // the table says the same, in order
    root.append(this.canvas, this.over, this.heads, this.reads, this.table);
    this.layout = layoutOf(root.clientWidth);
    this.tokens = this.readTokens();
  }

  /** The canvas that takes the pointer. */
  get surface(): HTMLElement { return this.over; }

  /** Pixel columns of the device in a plot: what a window is cut into. */
  get columns(): number { return columnsOf(this.layout); }

  /** Time at a place on the page. */
  timeAt(clientX: number, view: Span): number {
    const box = this.over.getBoundingClientRect();
    return view.from + ((clientX - box.left - this.layout.left) / this.layout.plot) * length(view);
  }

  /** Whether a place on the page lies on the axis with its flags. */
  onAxis(clientY: number): boolean { return clientY - this.over.getBoundingClientRect().top < axisY; }

  /** Takes the width from the page again, and says whether it is another. */
  refit(): boolean {
    const before = this.layout;
    if (this.root.clientWidth === before.wide) return false;
    this.layout = layoutOf(this.root.clientWidth);
    return before.plot !== this.layout.plot;
  }

  /** Takes the colours from the page again. */
  recolor(): void { this.tokens = this.readTokens(); }

  private readTokens(): Tokens {
    const style = getComputedStyle(document.documentElement);
    const of = (name: string): string => style.getPropertyValue(`--${name}`).trim();
    return {
      paper: of("paper"), ink: of("ink"), ink2: of("ink2"), edge: of("edge"), usual: of("usual"), band: of("band"),
      rule: of("rule"), accent: of("accent"), tint: of("tint"), onAccent: of("on-accent"),
    };
  }

  /** Lets the axes of all strips find their bounds anew at the next drawing. */
  settleAxes(): void { this.bounds.clear(); }

  private scene(s: Shown): Scene {
    const strips = this.places.map((p, i): Strip => {
      const row = s.rows[i]!;
      let bounds = this.bounds.get(p.name);
      if (bounds === undefined) {
        bounds = boundsOf([row.trace, row.over, ...edges(row.usual)], s.view);
        if (bounds !== undefined) this.bounds.set(p.name, bounds);
      }
      return {
        name: p.name, y: p.y, h: p.h, plot: p.y + p.head, trace: row.trace, over: row.over, usual: row.usual, bounds: bounds ?? [0, 1], steps: row.signal !== undefined && holds(row.signal),
        valueA: row.values[0]?.value ?? undefined, valueB: row.values[1]?.value ?? undefined,
      };
    });
    return { left: this.layout.left, width: this.layout.plot, height: this.height(), view: s.view, strips, bands: s.bands, a: s.a, b: s.b, tokens: this.tokens };
  }

  private height(): number {
    const last = this.places[this.places.length - 1];
    return last ? last.y + last.h : top;
  }

  /** Shows a view: the canvases at once, names and readings when they changed. */
  show(s: Shown): void {
    this.shown = s;
    this.place(s);
    const scene = this.scene(s);
    const on = this.ready(this.canvas, scene.height);
    on.rect(0, 0, this.layout.left + this.layout.plot + 1, scene.height, scene.tokens.paper);
    paint(on, scene);
    this.overlay(scene, undefined);
  }

  /** Draws the upper canvas, unless there was nothing on it and is nothing to be. */
  private overlay(scene: Scene, chosen: Span | undefined): void {
    const empty = scene.a === undefined && scene.b === undefined && chosen === undefined;
    if (empty && this.overEmpty && this.over.style.height === `${scene.height}px` && this.over.style.width === this.canvas.style.width) return;
    this.overEmpty = empty;
    const on = this.ready(this.over, scene.height);
    if (chosen !== undefined) {
      const [x0, x1] = [x(scene, chosen.from), x(scene, chosen.to)];
      on.box(x0, axisY + 1, x1 - x0, scene.height - axisY - 2, scene.tokens.ink, 1.5);
    }
    paintCursors(on, scene);
  }

  /** Draws the cursors alone, and a stretch that is being chosen. */
  cursors(s: Shown, chosen: Span | undefined): void {
    this.shown = s;
    this.overlay(this.scene(s), chosen);
  }

  private ready(canvas: HTMLCanvasElement, high: number): Surface {
    const ratio = devicePixelRatio;
    const wide = this.layout.left + this.layout.plot + 1;
    const [w, h] = [Math.round(wide * ratio), Math.round(high * ratio)];
    const fresh = canvas.width !== w || canvas.height !== h; // and so empty
    if (fresh) {
      canvas.width = w;
      canvas.height = h;
      canvas.style.width = `${wide}px`;
      canvas.style.height = `${high}px`;
    }
    canvas.style.left = `${this.layout.names}px`;
    const context = canvas.getContext("2d", { alpha: canvas === this.over })!; // what lies below is opaque, and so quicker to show
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    if (canvas === this.over && !fresh) context.clearRect(0, 0, wide, high); // which on paper would be white over what lies below
    return new CanvasSurface(context, 1 / ratio);
  }

  /** Puts names where their strips are, which needs no samples. */
  place(s: Shown): void {
    let y = top;
    this.places = s.rows.map((r) => {
      const { head, h } = heightOf(r.signal?.type ?? r.trace?.type ?? "float64", this.layout, s.rows.length);
      const p = { name: r.name, y, h, head };
      y += h;
      return p;
    });
    this.root.classList.toggle("stacked", this.layout.stacked);
    this.root.style.height = `${this.height()}px`;
    const key = s.rows.map((r) => `${r.name} ${r.signal?.type ?? ""}`).join("\n") + this.layout.wide;
    if (key === this.headKey) return;
    this.headKey = key;
    const focused = document.activeElement?.closest<HTMLElement>("[data-strip]")?.dataset["strip"];
    this.heads.style.width = "100%";
    this.reads.style.width = this.layout.stacked ? "100%" : `${this.layout.reads}px`;
    this.heads.replaceChildren(...s.rows.map((r, i) => this.head(r, this.places[i]!)));
    if (focused !== undefined) this.focus(focused);
  }

  private head(r: Row, p: { y: number; h: number; head: number }): HTMLElement {
    const e = element("div", `strip ${r.signal?.type ?? ""}`);
    e.dataset["strip"] = r.name;
    e.style.top = `${p.y}px`;
    e.style.height = `${p.head > 0 ? p.head : p.h - 1}px`;
    const [group, name] = named(r.name);
    if (group !== "") e.append(element("span", "group", group + (this.layout.stacked || r.signal?.type === "bool" || r.signal?.type === "text" ? "/" : "")));
    e.append(element("b", "", name), element("span", "kind", kindOf(r.signal)));
    const drop = element("button", "drop", "take off");
    drop.type = "button";
    drop.setAttribute("aria-label", `Take ${r.name} off`);
    drop.title = "Alt with up or down moves the strip";
    drop.addEventListener("click", () => this.drop(r.name));
    drop.addEventListener("keydown", (k) => {
      if (!k.altKey || (k.key !== "ArrowUp" && k.key !== "ArrowDown")) return;
      k.preventDefault();
      k.stopPropagation();
      this.move(r.name, k.key === "ArrowUp" ? -1 : 1);
    });
    e.append(drop);
    return e;
  }

  /** Gives the focus to a strip. */
  focus(name: string): void {
    [...this.heads.children].find((h) => (h as HTMLElement).dataset["strip"] === name)?.querySelector("button")?.focus({ preventScroll: true });
  }

  /** Writes the readings at the cursors, and the table of the same facts. */
  readings(s: Shown): void {
    const cell = (text: string, name = ""): HTMLElement => element("span", name, text);
    const line = (y: number, h: number, cells: HTMLElement[], name = "read"): HTMLElement => {
      const e = element("div", name);
      e.style.top = `${y}px`;
      e.style.height = `${h}px`;
      e.append(...cells);
      return e;
    };
    const at = (t: number | undefined): string => (t === undefined ? "" : clock(t, s.view) + " s");
    const both = s.a !== undefined && s.b !== undefined ? (s.b > s.a ? "+" : "") + fixed(s.b - s.a, 3) + " s" : "";
    const rows: HTMLElement[] = [];
    if (!this.layout.stacked && (s.a !== undefined || s.b !== undefined)) {
      rows.push(line(2, words.height, [cell("A", "a"), cell("B", "b"), cell(both === "" ? "" : "B less A", "d")], "read head"));
      rows.push(line(2 + words.height, words.height, [cell(at(s.a)), cell(at(s.b)), cell(both, "d")]));
    }
    s.rows.forEach((r, i) => {
      const p = this.places[i]!;
      const type = r.signal?.type;
      const [a, b] = [s.a === undefined ? "" : said(r.values[0], type), s.b === undefined ? "" : said(r.values[1], type)];
      if (a !== "" || b !== "") rows.push(line(p.y + (this.layout.stacked ? 2 : 4), words.height, [cell(a), cell(b), cell(less(r.values, type), "d")]));
    });
    this.reads.replaceChildren(...rows);
    this.describe(s);
  }

  /** The same facts as the drawing, for readers that do not see it. */
  private describe(s: Shown): void {
    const table = element("table", "");
    table.append(element("caption", "", `Signals from ${clock(s.view.from, s.view)} to ${clock(s.view.to, s.view)} s`));
    const head = element("tr", "");
    for (const h of ["Signal", "Unit", "Least here", "Greatest here", "At A", "At B", "B less A"]) {
      const th = element("th", "", h);
      th.scope = "col";
      head.append(th);
    }
    const thead = element("thead", "");
    thead.append(head);
    const body = element("tbody", "");
    for (const r of s.rows) {
      const [lo, hi] = rangeIn(r.trace, s.view);
      const tr = element("tr", "");
      const th = element("th", "", r.name);
      th.scope = "row";
      tr.append(th);
      const type = r.signal?.type;
      for (const c of [r.signal?.unit ?? "", lo, hi, s.a === undefined ? "" : said(r.values[0], type), s.b === undefined ? "" : said(r.values[1], type), less(r.values, type)]) tr.append(element("td", "", c));
      body.append(tr);
    }
    table.append(thead, body);
    this.table.replaceChildren(table);
    this.canvas.setAttribute("aria-label", `${s.rows.length} signals over time, ${clock(s.view.from, s.view)} to ${clock(s.view.to, s.view)} s; a table with the same facts follows`);
  }

  /** The view as a picture of its own: names, plots, readings. */
  private picture(on: Surface, title: string): { width: number; height: number } {
    const s = this.shown!;
    const [names, room, head, edge] = [140, s.a === undefined && s.b === undefined ? 16 : 226, 48, 16];
    const scene = { ...this.scene(s), left: edge + names + 44 };
    const shift = head;
    const moved: Scene = { ...scene, height: scene.height + shift, strips: scene.strips.map((q) => ({ ...q, y: q.y + shift, plot: q.plot + shift })) };
    const width = moved.left + moved.width + room;
    const height = moved.height + edge;
    const c = this.tokens;
    const type = (color: string, weight = 400, align: Type["align"] = "left"): Type => ({ size: 12, weight, color, align });
    on.rect(0, 0, width, height, c.paper);
    on.text(title, edge, 26, { size: 16, weight: 640, color: c.ink });
    drawnBelow(on, shift, (o) => {
      const flat: Scene = { ...scene };
      paint(o, flat);
      paintCursors(o, flat);
    });
    s.rows.forEach((r, i) => {
      const p = this.places[i]!;
      const [group, name] = named(r.name);
      const y = p.y + shift;
      const one = r.signal?.type === "bool" || r.signal?.type === "text" || this.layout.stacked;
      on.text(one ? r.name : group, edge, y + 17, type(c.ink2));
      if (!one) {
        on.text(name, edge, y + 34, { size: 14, weight: 640, color: c.ink });
        on.text(kindOf(r.signal), edge, y + 50, type(c.ink2));
      }
      const right = moved.left + moved.width;
      const kind = r.signal?.type;
      on.text(s.a === undefined ? "" : said(r.values[0], kind), right + 72, y + 17, type(c.ink, 400, "right"));
      on.text(s.b === undefined ? "" : said(r.values[1], kind), right + 140, y + 17, type(c.ink, 400, "right"));
      on.text(less(r.values, kind), right + 212, y + 17, type(c.ink, 680, "right"));
    });
    return { width, height };
  }

  svg(title: string): string {
    const measure = new CanvasSurface(document.createElement("canvas").getContext("2d")!);
    const on = new SVGSurface((w, t) => measure.width(w, t));
    const { width, height } = this.picture(on, title);
    return on.document(width, height, title);
  }

  png(title: string): Promise<Blob | null> {
    const canvas = document.createElement("canvas");
    const scale = Math.max(2, devicePixelRatio);
    const context = canvas.getContext("2d")!;
    const size = this.picture(new CanvasSurface(context), title); // once for the size
    canvas.width = Math.round(size.width * scale);
    canvas.height = Math.round(size.height * scale);
    context.setTransform(scale, 0, 0, scale, 0, 0);
    this.picture(new CanvasSurface(context, 1 / scale), title);
    return new Promise((done) => canvas.toBlob(done, "image/png"));
  }
}

/** Least and greatest of a trace in a view, in words. */
function rangeIn(trace: Trace | undefined, view: Span): [string, string] {
  if (trace === undefined || trace.type === "text") return ["", ""];
  let [lo, hi] = [Infinity, -Infinity];
  trace.t.forEach((t, i) => {
    if (t < view.from || t > view.to) return;
    lo = Math.min(lo, trace.v[i]!);
    hi = Math.max(hi, trace.v[i]!);
  });
  if (lo > hi) return ["", ""];
  return trace.type === "bool" ? [lo !== 0 ? "true" : "false", hi !== 0 ? "true" : "false"] : [reading(lo), reading(hi)];
}

/** A surface on which everything is drawn so much lower. */
function drawnBelow(on: Surface, by: number, paintOn: (o: Surface) => void): void {
  paintOn({
    grain: on.grain,
    stroke: (p, color, width, dash) => on.stroke(Array.from(p, (v, i) => (i % 2 === 1 ? v + by : v)), color, width, dash),
    area: (p, fill) => on.area(Array.from(p, (v, i) => (i % 2 === 1 ? v + by : v)), fill),
    rect: (a, b, w, h, fill) => on.rect(a, b + by, w, h, fill),
    box: (a, b, w, h, color, width) => on.box(a, b + by, w, h, color, width),
    ring: (a, b, r, color, fill, width) => on.ring(a, b + by, r, color, fill, width),
    triangle: (a, b, r, fill) => on.triangle(a, b + by, r, fill),
    text: (w, a, b, t) => on.text(w, a, b + by, t),
    width: (w, t) => on.width(w, t),
    clipped: (a, b, w, h, p) => on.clipped(a, b + by, w, h, p),
  });
}
