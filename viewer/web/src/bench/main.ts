// The trace bench: puts together what the other files do. What is on screen is a State, and
// every change goes one way: state, drawing at once from what is there, then the exact
// windows, readings and words when it has come to rest.

import { API, type Finding, type Signal, type Value } from "./api";
import { Desk, deskHeight, type Row, type Shown } from "./desk";
import { Finder } from "./finder";
import { gestures } from "./gestures";
import { layoutOf } from "./layout";
import { opening } from "./opening";
import { after, choices, pick, usualOf, type Choice, type Over, type Usual } from "./overlay";
import type { Band } from "./paint";
import { fixed, inside, length, panned, zoomed, type Span } from "./scales";
import { added, address, moved, parse, type State } from "./state";
import type { Trace } from "./trace";
import { showAt, videoAt } from "../video";
import { Windows } from "./windows";
import { writes } from "../typing";

const rest = 90; // ms without a change after which a view is taken as meant
const patience = 250; // ms that the first picture waits for samples before it is drawn without
const together = 900; // ms within which changes of the view are one step back

const byID = (id: string): HTMLElement => document.getElementById(id)!;

/** A window of another match, at this match's time. */
const shifted = (t: Trace, by: number): Trace => ({ ...t, t: t.t.map((v) => v + by) });

class TraceBench {
  private readonly main = byID("bench");
  private readonly api: API;
  private readonly bounds: Span;
  private readonly bell: number;
  private readonly desk: Desk;
  private readonly windows: Windows;
  private readonly finder: Finder;
  private readonly none: State;
  private state: State;
  private signals = new Map<string, Signal>();
  private findings: Finding[] = [];
  private bands: Band[] = [];
  private values = new Map<string, Value[]>();
  private valuesOf = "";
  private choice: Choice | undefined;
  private over: Over | undefined;
  private usual = new Map<string, Usual>(); // of what is laid over
  private overSaid = "";
  private overWindows: Windows | undefined;
  private laying: Promise<void> | undefined;
  private settled = 0; // counts the times a view came to rest
  private pointer: number | undefined; // time under it
  private chosen: Span | undefined;
  private frame = 0;
  private waiting = true; // for the first samples
  private wholeWide: number | undefined; // width of the picture of the whole match
  private marked = false;
  private timer = 0;
  private written = { at: 0, address: "" };
  private trouble = "";

  constructor() {
    const o = opening(this.main, location.search);
    this.api = new API(o.base, o.season, o.startS);
    this.bounds = o.bounds;
    this.bell = o.bell;
    this.none = o.none;
    this.signals = new Map(o.signals.map((s) => [s.name, s]));
    this.know(o.findings);
    this.state = o.state;
    byID("desk").hidden = false;
    // As high as it will be, so that a scroll bar that this brings is there when it is measured.
    byID("strips").style.height = `${deskHeight(this.state.strips.map((s) => this.signals.get(s)!.type), layoutOf(innerWidth))}px`;
    this.desk = new Desk(byID("strips"), (name) => this.set({ strips: this.state.strips.filter((s) => s !== name) }), (name, by) => {
      this.set({ strips: moved(this.state.strips, name, by) });
      requestAnimationFrame(() => requestAnimationFrame(() => this.desk.focus(name)));
    });
    this.windows = new Windows((names, span, columns, signal) => this.api.window(names, span, columns, signal));
    this.finder = new Finder(byID("find") as HTMLInputElement, byID("hits"), byID("found"), this.api, {
      view: () => this.state.span,
      cursors: () => [this.state.a, this.state.b],
      add: (name) => this.set({ strips: added(this.state.strips, name) }),
    });
    this.written.address = address(this.state);
  }

  /** The state that the address bar holds. */
  private read(): State {
    const s = parse(location.search, this.none);
    return { ...s, span: inside(s.span, this.bounds) };
  }

  start(): void {
    // What takes longest is asked for first; what follows is done while it is on its way.
    const first = this.settle();
    this.desk.place(this.shown());
    setTimeout(() => this.waiting && this.show(), patience);
    void first.then(() => this.learn());
    this.hints();
    gestures(this.desk.surface, {
      view: () => this.state.span,
      bounds: () => this.bounds,
      whole: () => this.none.span,
      cursor: (name) => this.state[name],
      timeAt: (x) => this.desk.timeAt(x, this.state.span),
      onAxis: (y) => this.desk.onAxis(y),
      width: () => this.desk.layout.plot,
      look: (span) => this.set({ span }),
      set: (name, at) => this.set({ [name]: at }),
      choosing: (span) => {
        this.chosen = span;
        this.desk.cursors(this.shown(), span);
      },
      hover: (at) => (this.pointer = at),
    });
    this.overview();
    // A video beside the strips: cursor A goes with it, and it goes with cursor A.
    document.addEventListener(videoAt, (e) => this.follow((e as CustomEvent<number>).detail));
    document.addEventListener("keydown", (e) => this.key(e));
    addEventListener("popstate", () => {
      this.state = this.read();
      this.written.address = address(this.state);
      this.written.at = 0;
      this.changed();
    });
    const again = (): void => {
      if (!this.desk.refit()) return;
      this.wholeWide = undefined;
      this.desk.settleAxes();
      this.changed();
    };
    new ResizeObserver(again).observe(byID("strips"));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.desk.recolor();
      this.redraw();
    });
    // Paper has a width and colours of its own, and no next frame: it is drawn for at once.
    matchMedia("print").addEventListener("change", () => {
      this.desk.recolor();
      again();
      this.show();
      this.desk.readings(this.shown());
    });
    void document.fonts.ready.then(() => this.redraw());
  }

  /** Takes in what was found in this match. */
  private know(findings: Finding[]): void {
    this.findings = findings;
    this.bands = findings.map((f) => ({
      rank: f.rank, severity: f.severity, title: f.short !== "" ? f.short : f.title,
      spans: (f.spans.length > 0 ? f.spans : [f]).map((q) => ({ from: q.start_s - this.api.startS, to: q.end_s - this.api.startS })),
    }));
  }

  /** Learns what other signals there are; those of the strips came with the page. */
  private async learn(): Promise<void> {
    try {
      const all = await this.api.signals();
      this.signals = new Map(all.map((s) => [s.name, s]));
      this.finder.know(all);
    } catch (e) {
      this.fail(e);
    }
  }

  private fail(why: unknown): void {
    if (why instanceof DOMException && why.name === "AbortError") return;
    this.trouble = why instanceof Error ? why.message : String(why);
    this.words();
  }

  private set(change: Partial<Record<keyof State, State[keyof State]>>): void {
    const before = this.state.a;
    this.state = { ...this.state, ...change } as State;
    if (this.state.a !== before && this.state.a !== undefined) document.dispatchEvent(new CustomEvent(showAt, { detail: this.state.a }));
    this.changed();
  }

  /** Puts cursor A to where a video is, and moves the view on when that leaves it. */
  private follow(at: number): void {
    const { span } = this.state;
    const next = at < span.from || at > span.to ? inside({ from: at, to: at + length(span) }, this.bounds) : span;
    this.state = { ...this.state, a: at, span: next };
    this.changed();
  }

  /** Draws soon what is there, and the exact picture when nothing changes any more. */
  private changed(): void {
    this.redraw();
    this.main.dataset["state"] = "moving"; // for whoever waits for the exact picture
    clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.settle(), rest);
  }

  /** Draws what is there with the next frame. */
  private redraw(): void {
    if (this.frame !== 0) return;
    this.frame = requestAnimationFrame(() => {
      this.frame = 0;
      if (!this.waiting) this.draw();
    });
  }

  /** Draws at once, with samples or without. */
  private show(): void {
    this.waiting = false;
    this.draw();
  }

  private get columnS(): number { return length(this.state.span) / this.desk.columns; }

  private shown(): Shown {
    const { span, a, b, strips } = this.state;
    const current = this.valuesOf === this.valuesKey();
    const rows = strips.map((name): Row => {
      const of = current ? this.values.get(name) : undefined;
      return {
        name, signal: this.signals.get(name), trace: this.windows.best(name, span, this.columnS)?.trace,
        over: this.overTrace(name), usual: this.usual.get(name), values: [a === undefined ? undefined : of?.[0], b === undefined ? undefined : of?.[of.length - 1]],
      };
    });
    return { view: span, a, b, bands: this.bands, rows };
  }

  private overTrace(name: string): Trace | undefined {
    return this.over && this.overWindows?.best(name, this.state.span, this.columnS)?.trace;
  }

  private draw(): void {
    const shown = this.shown();
    this.desk.show(shown);
    if (!this.marked && shown.rows.length > 0 && shown.rows.every((r) => r.trace !== undefined)) {
      this.marked = true;
      performance.mark("strips drawn"); // for whoever measures
    }
    if (this.chosen !== undefined) this.desk.cursors(shown, this.chosen);
    this.frameOverview();
    this.spanWords();
  }

  private valuesKey(): string { return JSON.stringify([this.state.a, this.state.b, this.state.strips]); }

  /** When the view has come to rest: exact windows, readings, words, the address. */
  private async settle(): Promise<void> {
    const { span, strips } = this.state;
    const mine = ++this.settled;
    this.timer = 0;
    this.write();
    const fresh = (): void => {
      this.desk.settleAxes();
      this.show();
    };
    try {
      this.trouble = "";
      await Promise.all([
        strips.length > 0 ? this.windows.load(strips, span, this.desk.columns, this.bounds, fresh) : undefined,
        this.layOver().then(() => this.overWindows?.load(strips, span, this.desk.columns, this.bounds, fresh)),
        this.readValues(),
      ]);
    } catch (e) {
      this.fail(e);
    }
    if (mine !== this.settled) return; // it moved on
    this.write(); // what is laid over may have been chosen meanwhile
    this.desk.settleAxes();
    this.show();
    this.desk.readings(this.shown());
    this.words();
    if (this.timer === 0) this.main.dataset["state"] = "rested";
  }

  private async readValues(): Promise<void> {
    const key = this.valuesKey();
    const times = [this.state.a, this.state.b].filter((t) => t !== undefined);
    if (key === this.valuesOf || times.length === 0 || this.state.strips.length === 0) {
      this.valuesOf = key;
      return;
    }
    const got = await this.api.values(this.state.strips, times);
    if (key !== this.valuesKey()) return;
    this.values = got;
    this.valuesOf = key;
  }

  /** Brings what is laid over in line with the state. */
  private layOver(): Promise<void> {
    this.laying ??= this.layNow().finally(() => {
      this.laying = undefined;
      this.overWords();
    });
    return this.laying;
  }

  private async layNow(): Promise<void> {
    const want = this.state.over;
    if (want === undefined || want === this.over?.key) {
      if (want === undefined) {
        this.over = this.overWindows = undefined;
        this.usual = new Map();
      }
      return;
    }
    if (this.choice === undefined) {
      this.overSaid = "Looking for usual passes …";
      this.overWords();
      try {
        this.choice = await choices(this.api, this.state.span);
      } catch (e) {
        this.overSaid = e instanceof Error ? e.message : String(e);
        this.state = { ...this.state, over: undefined };
        return;
      }
    }
    const over = pick(this.choice, want === "0" ? undefined : want);
    this.overSaid = over === undefined ? "No good pass is known to lay over." : "";
    this.over = over;
    this.state = { ...this.state, over: over?.key };
    this.usual = over === undefined ? new Map() : usualOf(this.choice.comparison, this.api.startS);
    if (over === undefined) return;
    const [season, event, match] = over.match === "" ? [] : over.match.split("/");
    const api = match === undefined ? this.api : new API(this.api.base.replace(/\/m\/[^/]+\/[^/]+\//, `/m/${event}/${match}/`), season!, this.api.startS);
    this.overWindows = new Windows(async (names, span, columns, signal) => {
      const had = match === undefined ? names : await api.signals().then((all) => names.filter((n) => all.some((s) => s.name === n)));
      if (had.length === 0) return [];
      const got = await api.window(had, { from: span.from - over.shiftS, to: span.to - over.shiftS }, columns, signal);
      return got.map((t) => shifted(t, over.shiftS));
    });
  }

  /** Puts the state into the address: a step back for each thing done, not for each frame. */
  private write(): void {
    const to = address(this.state);
    if (to === this.written.address) return;
    const now = performance.now();
    const method = now - this.written.at < together ? "replaceState" : "pushState";
    history[method](null, "", location.pathname + to);
    this.written = { at: now, address: to };
  }

  // Words around the strips.

  private spanWords(): void {
    const { span } = this.state;
    const decimals = Math.max(2, Math.min(6, 2 - Math.floor(Math.log10(length(span) / 4))));
    byID("span").textContent = `${fixed(span.from, decimals)} to ${fixed(span.to, decimals)} s`;
    byID("of").textContent = `${fixed(length(span), decimals)} of ${fixed(this.bell > 0 ? this.bell : length(this.bounds), 0)} s`;
  }

  /** The findings that have to do with the stretch on screen, worst first. */
  private here(): Finding[] {
    const { span } = this.state;
    return this.findings.filter((f) => this.bands[f.rank - 1]?.spans.some((q) => q.from <= span.to && q.to >= span.from));
  }

  private words(): void {
    const first = this.here()[0];
    const said = first?.title ?? (this.findings.length > 0 ? "No finding in this stretch." : undefined);
    if (said !== undefined) byID("saying").textContent = said;
    for (const li of document.querySelectorAll<HTMLElement>(".leads li")) {
      li.classList.toggle("here", this.here().some((f) => String(f.rank) === li.dataset["rank"]));
    }
    this.overWords();
    this.saveWords();
  }

  private act(said: string, does: () => void): HTMLButtonElement {
    const b = document.createElement("button");
    b.type = "button";
    b.className = "act";
    b.textContent = said;
    b.addEventListener("click", does);
    return b;
  }

  private overWords(): void {
    const p = byID("laid");
    const focused = p.contains(document.activeElement);
    if (this.trouble !== "") {
      p.replaceChildren(Object.assign(document.createElement("span"), { className: "trouble", textContent: "Not everything could be read: " + this.trouble }));
    } else if (this.over === undefined) {
      p.replaceChildren(...(this.overSaid !== "" ? [this.overSaid + " "] : []), this.act("Lay a usual pass over", () => {
        this.choice = undefined;
        this.set({ over: "0" });
      }));
    } else {
      const key = Object.assign(document.createElement("span"), { className: "key" });
      const name = Object.assign(document.createElement("b"), { textContent: this.over.words });
      p.replaceChildren("Laid over: ", name, `, a usual one, both starting at the ${this.over.stage} beam `, key, " ",
        this.act("another", () => this.set({ over: after(this.choice!, this.over!.key) })), " ",
        this.act("none", () => this.set({ over: undefined })),
        ...(this.usual.size > 0 ? [Object.assign(document.createElement("span"), { className: "shaded", textContent: "8 in 10 good passes" })] : []));
    }
    if (focused) p.querySelector("button")?.focus();
  }

  private saveWords(): void {
    const { span, strips } = this.state;
    const p = byID("save");
    if (strips.length === 0) {
      p.textContent = "No signal is shown.";
      return;
    }
    let samples = 0;
    for (const name of strips) samples += this.inView(name);
    const link = (said: string, href: string): HTMLAnchorElement => Object.assign(document.createElement("a"), { textContent: said, href, download: "" });
    const [csv, parquet, arrow] = ["csv", "parquet", "arrow"].map((f) => this.api.saved(f, strips, span));
    const count = String(samples).replace(/\B(?=(\d{3})+$)/g, "\u202f");
    p.replaceChildren(
      `${strips.length} ${strips.length === 1 ? "signal" : "signals"}, ${count} samples, ${byID("span").textContent}, as `,
      link("CSV", csv!), ", ", link("Parquet", parquet!), " or ", link("Arrow", arrow!), "; the picture as ",
      this.act("PNG", () => void this.desk.png(this.title()).then((b) => b && this.download(b, "png"))), " or ",
      this.act("SVG", () => this.download(new Blob([this.desk.svg(this.title())], { type: "image/svg+xml" }), "svg")), ".",
    );
  }

  /** Samples of a signal in view, as the exact window of it says. */
  private inView(name: string): number {
    const piece = this.windows.best(name, this.state.span, this.columnS);
    if (piece === undefined) return 0;
    if (Math.abs(piece.span.from - this.state.span.from) < 1e-6 && Math.abs(piece.span.to - this.state.span.to) < 1e-6) return piece.trace.samples;
    if (piece.trace.whole) return piece.trace.t.filter((t) => t >= this.state.span.from && t <= this.state.span.to).length;
    return Math.round((piece.trace.samples * length(this.state.span)) / length(piece.span));
  }

  private title(): string { return `${document.title.split(":")[0]}: ${byID("saying").textContent ?? ""}`; }

  private download(blob: Blob, ending: string): void {
    const a = document.createElement("a");
    a.href = URL.createObjectURL(blob);
    a.download = `${document.title.split(":")[0]!.replaceAll(" ", "-")}-${this.state.span.from.toFixed(2)}.${ending}`;
    a.click();
    setTimeout(() => URL.revokeObjectURL(a.href), 10_000);
  }

  private hints(): void {
    const at = (): number => this.pointer ?? (this.state.span.from + this.state.span.to) / 2;
    const hint = (keys: readonly (readonly [string, () => void, string])[], said: string): HTMLElement => {
      const e = document.createElement("span");
      e.className = "hint";
      for (const [key, does, label] of keys) {
        const b = this.act(key, does);
        b.className = "keycap";
        b.setAttribute("aria-label", label);
        e.append(b, " ");
      }
      e.append(Object.assign(document.createElement("span"), { className: "says", textContent: said }));
      return e;
    };
    byID("hints").replaceChildren(
      hint([["+", () => this.zoom(0.5), "Zoom in"], ["−", () => this.zoom(2), "Zoom out"]], "zoom"),
      hint([["←", () => this.pan(-0.1), "Pan back"], ["→", () => this.pan(0.1), "Pan on"]], "pan"),
      hint([["A", () => this.set({ a: at() }), "Set cursor A in the middle"], ["B", () => this.set({ b: at() }), "Set cursor B in the middle"]], "set cursor"),
      hint([["/", () => this.finder.focus(), "Find a signal"]], "find a signal"),
      hint([["N", () => this.next(), "Next finding"]], "next finding"),
    );
  }

  // What keys and buttons do.

  private zoom(factor: number): void {
    const { span, a } = this.state;
    const at = this.pointer ?? (a !== undefined && a > span.from && a < span.to ? a : (span.from + span.to) / 2);
    this.set({ span: zoomed(span, at, factor, this.bounds) });
  }

  private pan(share: number): void { this.set({ span: panned(this.state.span, share, this.bounds) }); }

  /** Goes to the finding that begins next, round and round, with the signals it rests on. */
  private next(): void {
    const middle = (this.state.span.from + this.state.span.to) / 2;
    const centre = (f: Finding): number => { const q = this.stretch(f); return (q.from + q.to) / 2; };
    const order = [...this.findings].sort((p, q) => centre(p) - centre(q));
    const next = order.find((f) => centre(f) > middle + 1e-3) ?? order[0];
    if (next !== undefined) this.open(next);
  }

  private stretch(f: Finding): Span {
    const [start, end] = f.evidence[0] ? [f.evidence[0].start_s, f.evidence[0].end_s] : [f.start_s, f.end_s];
    const room = Math.max(0.1 * (end - start), 0.5);
    return inside({ from: start - room - this.api.startS, to: end + room - this.api.startS }, this.bounds);
  }

  private open(f: Finding): void {
    const evidence = [...new Set(f.evidence.map((e) => e.signal))].filter((s) => this.signals.has(s));
    const strips = evidence.some((s) => this.state.strips.includes(s)) || evidence.length === 0 ? this.state.strips : evidence.slice(0, 8);
    this.written.at = 0; // a step of its own
    this.set({ span: this.stretch(f), strips });
  }

  private key(e: KeyboardEvent): void {
    if (e.ctrlKey || e.metaKey || e.altKey || writes(e.target)) return;
    const at = this.pointer ?? (this.state.span.from + this.state.span.to) / 2;
    const does: Record<string, () => void> = {
      "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2), "−": () => this.zoom(2),
      "ArrowLeft": () => this.pan(e.shiftKey ? -1 : -0.1), "ArrowRight": () => this.pan(e.shiftKey ? 1 : 0.1),
      "a": () => this.set({ a: at }), "b": () => this.set({ b: at }), "A": () => this.set({ a: at }), "B": () => this.set({ b: at }),
      "n": () => this.next(), "N": () => this.next(), "/": () => this.finder.focus(),
      "0": () => this.set({ span: this.none.span }), "Escape": () => this.set({ a: undefined, b: undefined }),
    };
    const rank = /^[1-9]$/.test(e.key) ? this.findings.find((f) => String(f.rank) === e.key) : undefined;
    const act = rank ? () => this.open(rank) : does[e.key];
    if (act === undefined || (e.key === "Escape" && document.querySelector("dialog[open]"))) return;
    e.preventDefault();
    act();
  }

  // The whole match above, with a frame around what is on screen.

  private frameOverview(): void {
    const frame = byID("frame");
    const end = this.bell;
    frame.hidden = end <= 0;
    if (end <= 0) return;
    const { span } = this.state;
    const [from, to] = [Math.min(Math.max(span.from, 0), end), Math.min(Math.max(span.to, 0), end)];
    const wide = this.wholeWidth();
    frame.style.left = `${(from / end) * wide}px`;
    frame.style.width = `${Math.max(8, ((to - from) / end) * wide)}px`;
  }

  /** Width of the picture of the whole match that this screen shows. */
  private wholeWidth(): number {
    this.wholeWide ??= ([...byID("whole").querySelectorAll("svg")].find((p) => p.clientWidth > 0) ?? byID("whole")).clientWidth;
    return this.wholeWide;
  }

  private overview(): void {
    const whole = byID("whole");
    let grip: number | undefined; // time between the pointer and the beginning of the frame
    const at = (e: PointerEvent): number => {
      const box = whole.getBoundingClientRect();
      return ((e.clientX - box.left) / this.wholeWidth()) * this.bell;
    };
    const go = (t: number): void => this.set({ span: inside({ from: t - grip!, to: t - grip! + length(this.state.span) }, this.bounds) });
    whole.addEventListener("pointerdown", (e) => {
      if (e.button !== 0 || this.bell <= 0 || (e.target as Element).closest("a")) return;
      const { span } = this.state;
      const t = at(e);
      const held = t >= span.from && t <= span.to;
      if (length(span) >= this.bell * 0.98) { // nothing to drag: look nearer
        grip = this.bell / 20;
        this.set({ span: inside({ from: t - grip, to: t + grip }, this.bounds) });
      } else {
        grip = held ? t - span.from : length(span) / 2;
        go(t);
      }
      whole.setPointerCapture(e.pointerId);
    });
    whole.addEventListener("pointermove", (e) => { if (grip !== undefined) go(at(e)); });
    for (const end of ["pointerup", "pointercancel"]) whole.addEventListener(end, () => (grip = undefined));
    // A finding's mark opens it here, without loading the page anew.
    document.addEventListener("click", (e) => {
      const a = (e.target as Element).closest("a");
      if (a === null || e.ctrlKey || e.metaKey || e.shiftKey || e.button !== 0 || a.hasAttribute("download")) return;
      const href = a.getAttribute("href") ?? "";
      const to = new URL(href, location.href);
      if (to.pathname !== location.pathname || to.search === "" || !(whole.contains(a) || a.classList.contains("lead-to"))) return;
      e.preventDefault();
      this.written.at = 0;
      this.state = { ...parse(to.search, this.none), over: undefined };
      this.state = { ...this.state, span: inside(this.state.span, this.bounds) };
      byID("saying").scrollIntoView({ block: "nearest" });
      this.changed();
    });
    document.getElementById("copy")?.addEventListener("click", (e) => {
      e.preventDefault();
      this.write();
      const link = e.currentTarget as HTMLElement;
      // Over plain HTTP from another machine a browser has no clipboard for pages.
      const copied = "clipboard" in navigator ? navigator.clipboard.writeText(location.href) : Promise.reject(new Error("no clipboard"));
      copied.then(() => (link.textContent = "Link copied"), () => (link.textContent = "Copy it from the address bar"));
      setTimeout(() => (link.textContent = "Copy link to this view"), 4000);
    });
  }
}

export function begin(): void {
  if (document.getElementById("desk") === null) return;
  new TraceBench().start();
}
