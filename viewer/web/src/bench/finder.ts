// The find box: words are typed, signals that hold them are listed with their shape in the
// stretch on screen and their values at the cursors; Enter adds the marked one as a strip.

import type { API, Signal, Value } from "./api";
import { said } from "./desk";
import { find, parts, type Hit } from "./find";
import { axis, type Span } from "./scales";
import type { Trace } from "./trace";

const most = 8; // hits shown

export interface Asker {
  view(): Span;
  cursors(): readonly [number | undefined, number | undefined];
  add(name: string): void;
}

export class Finder {
  private hits: Hit[] = [];
  private marked = 0;
  private turn = 0;
  private signals: Signal[] = [];

  constructor(private readonly input: HTMLInputElement, private readonly list: HTMLElement, private readonly status: HTMLElement, private readonly api: API, private readonly asker: Asker) {
    input.addEventListener("input", () => this.search());
    input.addEventListener("keydown", (e) => this.key(e));
  }

  /** Tells the finder what signals there are. */
  know(signals: Signal[]): void {
    this.signals = signals;
    this.search();
  }

  focus(): void {
    this.input.focus();
    this.input.select();
  }

  private key(e: KeyboardEvent): void {
    const step = { ArrowDown: 1, ArrowUp: -1 }[e.key];
    if (step !== undefined && this.hits.length > 0) {
      e.preventDefault();
      const n = Math.min(most, this.hits.length);
      this.mark((this.marked + step + n) % n);
    } else if (e.key === "Enter") {
      const hit = this.hits[this.marked];
      if (hit === undefined) return;
      e.preventDefault();
      this.take(hit.name);
    } else if (e.key === "Escape") {
      this.input.value = "";
      this.search();
      this.input.blur();
    }
  }

  private take(name: string): void {
    this.asker.add(name);
    this.input.value = "";
    this.search();
  }

  private search(): void {
    this.hits = find(this.signals.map((s) => s.name), this.input.value);
    const empty = this.input.value.trim() === "";
    this.status.textContent = empty ? `${this.signals.length} signals` :
      `${this.hits.length} of ${this.signals.length} signals.` + (this.hits.length > 0 ? " Enter adds the marked one." : "");
    this.input.setAttribute("aria-expanded", String(this.hits.length > 0));
    this.list.replaceChildren(...this.hits.slice(0, most).map((h, i) => this.row(h, i)));
    this.mark(0);
    void this.fill();
  }

  private row(hit: Hit, i: number): HTMLElement {
    const row = document.createElement("li");
    row.id = `hit-${i}`;
    row.setAttribute("role", "option");
    const name = row.appendChild(document.createElement("span"));
    name.className = "name";
    for (const p of parts(hit)) {
      const part = name.appendChild(document.createElement(p.typed ? "u" : "span"));
      part.textContent = p.said;
    }
    const shape = row.appendChild(document.createElement("canvas"));
    shape.className = "shape";
    shape.setAttribute("aria-hidden", "true");
    for (const what of ["at-a", "at-b", "unit"]) row.appendChild(document.createElement("span")).className = what;
    row.querySelector(".unit")!.textContent = this.signals.find((s) => s.name === hit.name)?.unit ?? "";
    row.addEventListener("pointerdown", (e) => e.preventDefault()); // the box keeps the focus
    row.addEventListener("click", () => this.take(hit.name));
    return row;
  }

  private mark(i: number): void {
    this.marked = i;
    [...this.list.children].forEach((row, at) => row.setAttribute("aria-selected", String(at === i)));
    if (this.hits.length > 0) this.input.setAttribute("aria-activedescendant", `hit-${i}`);
    else this.input.removeAttribute("aria-activedescendant");
  }

  /** Draws the shapes and writes the values, unless other words were typed meanwhile. */
  private async fill(): Promise<void> {
    const turn = ++this.turn;
    const names = this.hits.slice(0, most).map((h) => h.name);
    if (names.length === 0) return;
    const rows = [...this.list.children];
    const wide = rows[0]!.querySelector("canvas")!.clientWidth;
    const view = this.asker.view();
    const [a, b] = this.asker.cursors();
    const times = [a, b].filter((t) => t !== undefined);
    try {
      const [traces, values] = await Promise.all([
        this.api.window(names, view, Math.max(40, wide), new AbortController().signal),
        times.length > 0 ? this.api.values(names, times) : new Map<string, Value[]>(),
      ]);
      if (turn !== this.turn) return;
      rows.forEach((row, i) => {
        sketch(row.querySelector("canvas")!, traces[i]!, view);
        const of = values.get(names[i]!);
        row.querySelector(".at-a")!.textContent = a === undefined ? "" : said(of?.[0], traces[i]!.type);
        row.querySelector(".at-b")!.textContent = b === undefined ? "" : said(of?.[of.length - 1], traces[i]!.type);
      });
    } catch {
      // The names are there; without the server there is nothing to draw.
    }
  }
}

/** The shape of a trace in little. */
function sketch(canvas: HTMLCanvasElement, trace: Trace, view: Span): void {
  const [w, h, ratio] = [canvas.clientWidth, canvas.clientHeight, devicePixelRatio];
  canvas.width = Math.round(w * ratio);
  canvas.height = Math.round(h * ratio);
  const c = canvas.getContext("2d")!;
  c.scale(ratio, ratio);
  c.strokeStyle = getComputedStyle(canvas).color;
  c.lineJoin = "bevel";
  c.lineWidth = 1;
  c.beginPath();
  const inView = trace.v.filter((_, i) => trace.t[i]! >= view.from && trace.t[i]! <= view.to);
  const [lo, hi] = axis(inView.reduce((m, v) => Math.min(m, v), Infinity), inView.reduce((m, v) => Math.max(m, v), -Infinity));
  let y0 = 0;
  trace.t.forEach((t, i) => {
    const x = ((t - view.from) / (view.to - view.from)) * w;
    const y = trace.type === "text" ? h / 2 : h - 1 - ((trace.v[i]! - lo) / (hi - lo)) * (h - 2);
    if (i === 0 || trace.broken[i] === 1) c.moveTo(x, y);
    else {
      if (trace.type !== "float64") c.lineTo(x, y0);
      c.lineTo(x, y);
    }
    if (trace.type === "text") {
      c.moveTo(x, 3);
      c.lineTo(x, h - 3);
      c.moveTo(x, y);
    }
    y0 = y;
  });
  c.stroke();
}
