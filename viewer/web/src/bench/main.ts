// The trace bench: puts together what the other files do. What is on screen is a State, and
// every change goes one way: state, drawing at once from what is there, then the exact
// windows, readings and words when it has come to rest.

import { API, type Finding, type Signal } from "./api";
import { hints, listen } from "./commands";
import { Desk, deskHeight, type Row, type Shown } from "./desk";
import { Finder } from "./finder";
import { Findings } from "./findings";
import { gestures } from "./gestures";
import { Laid } from "./laid";
import { layoutOf } from "./layout";
import { opening } from "./opening";
import { Readings } from "./readings";
import { Saving } from "./saving";
import { fixed, inside, length, type Span } from "./scales";
import { added, moved, type State } from "./state";
import { Steps } from "./steps";
import { showAt, videoAt } from "../video";
import { Whole } from "./whole";
import { Windows, type Piece } from "./windows";

const rest = 90; // ms without a change after which a view is taken as meant
const patience = 250; // ms that the first picture waits for samples before it is drawn without

const byID = (id: string): HTMLElement => document.getElementById(id)!;

class TraceBench {
  private readonly main = byID("bench");
  private readonly api: API;
  private readonly bounds: Span;
  private readonly bell: number;
  private readonly none: State;
  private readonly findings: Findings;
  private readonly desk: Desk;
  private readonly windows: Windows;
  private readonly readings: Readings;
  private readonly laid: Laid;
  private readonly whole: Whole;
  private readonly saving: Saving;
  private readonly steps: Steps;
  private readonly finder: Finder;
  private state: State;
  private signals: Map<string, Signal>;
  private pointer: number | undefined; // time under it
  private chosen: Span | undefined;
  private frame = 0; // the next, when it is asked for
  private timer = 0; // until the view is taken as meant
  private settled = 0; // counts the times a view came to rest
  private waiting = true; // for the first samples
  private marked = false;
  private trouble = "";

  /** What the parts see of the view, and what they do to it. */
  private readonly view = {
    view: () => this.state.span,
    bounds: () => this.bounds,
    whole: () => this.none.span,
    strips: () => this.state.strips,
    cursor: (name: "a" | "b") => this.state[name],
    pointer: () => this.pointer,
    look: (span: Span) => this.set({ span }),
    set: (name: "a" | "b", at: number | undefined) => this.set(name === "a" ? { a: at } : { b: at }),
  };

  constructor() {
    const o = opening(this.main, location.search);
    this.api = new API(o.base, o.season, o.startS);
    this.bounds = o.bounds;
    this.bell = o.bell;
    this.none = o.none;
    this.state = o.state;
    this.signals = new Map(o.signals.map((s) => [s.name, s]));
    this.findings = new Findings(o.findings, o.startS, o.bounds);
    byID("desk").hidden = false;
    // As high as it will be, so that a scroll bar that this brings is there when it is measured.
    byID("strips").style.height = `${deskHeight(this.state.strips.map((s) => this.signals.get(s)!.type), layoutOf(innerWidth))}px`;
    this.desk = new Desk(byID("strips"), (name) => this.set({ strips: this.state.strips.filter((s) => s !== name) }), (name, by) => {
      this.set({ strips: moved(this.state.strips, name, by) });
      requestAnimationFrame(() => requestAnimationFrame(() => this.desk.focus(name)));
    });
    this.windows = new Windows((names, span, columns, signal) => this.api.window(names, span, columns, signal));
    this.readings = new Readings(this.api, () => this.state);
    this.laid = new Laid(byID("laid"), this.api, {
      ...this.view,
      wanted: () => this.state.over,
      want: (over) => this.set({ over }),
      became: (over) => (this.state = { ...this.state, over }),
      trouble: () => this.trouble,
    });
    this.whole = new Whole(byID("whole"), byID("frame"), this.bell, this.view);
    this.saving = new Saving(byID("save"), this.api, this.desk, {
      ...this.view,
      piece: (name) => this.piece(name),
      stretch: () => byID("span").textContent ?? "",
      saying: () => byID("saying").textContent ?? "",
    });
    this.steps = new Steps(this.none, this.bounds, { now: () => this.state, go: (to) => this.go(to) });
    this.finder = new Finder(byID("find") as HTMLInputElement, byID("hits"), byID("found"), this.api, {
      ...this.view,
      cursors: () => [this.state.a, this.state.b],
      add: (name) => this.set({ strips: added(this.state.strips, name) }),
    });
  }

  start(): void {
    // What takes longest is asked for first; what follows is done while it is on its way.
    const first = this.settle();
    this.desk.place(this.shown());
    setTimeout(() => this.waiting && this.show(), patience);
    void first.then(() => this.learn());
    this.obey();
    this.adapt();
  }

  /** Puts hands, keys, links and a video to use. */
  private obey(): void {
    const commands = {
      ...this.view,
      find: () => this.finder.focus(),
      next: () => this.open(this.findings.next(this.state.span)),
      opener: (rank: number) => {
        const found = this.findings.ranked(rank);
        return found && (() => this.open(found));
      },
    };
    hints(byID("hints"), commands);
    listen(commands);
    gestures(this.desk.surface, {
      ...this.view,
      timeAt: (x) => this.desk.timeAt(x, this.state.span),
      onAxis: (y) => this.desk.onAxis(y),
      width: () => this.desk.layout.plot,
      choosing: (span) => {
        this.chosen = span;
        this.desk.cursors(this.shown(), span);
      },
      hover: (at) => (this.pointer = at),
    });
    this.steps.follow((a) => byID("whole").contains(a) || a.classList.contains("lead-to"), () => byID("saying").scrollIntoView({ block: "nearest" }));
    const copy = document.getElementById("copy");
    if (copy !== null) this.steps.copies(copy);
    // A video beside the strips: cursor A goes with it, and it goes with cursor A.
    document.addEventListener(videoAt, (e) => this.follow((e as CustomEvent<number>).detail));
  }

  /** Draws anew when the page has another width, other colours or its own letters. */
  private adapt(): void {
    const refit = (): void => {
      if (!this.desk.refit()) return;
      this.whole.refit();
      this.desk.settleAxes();
      this.changed();
    };
    new ResizeObserver(refit).observe(byID("strips"));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.desk.recolor();
      this.redraw();
    });
    // Paper has a width and colours of its own, and no next frame: it is drawn for at once.
    matchMedia("print").addEventListener("change", () => {
      this.desk.recolor();
      refit();
      this.show();
      this.desk.readings(this.shown());
    });
    void document.fonts.ready.then(() => this.redraw());
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

  // What changes the state.

  private set(change: Partial<State>): void {
    const before = this.state.a;
    this.state = { ...this.state, ...change };
    if (this.state.a !== before && this.state.a !== undefined) document.dispatchEvent(new CustomEvent(showAt, { detail: this.state.a }));
    this.changed();
  }

  private go(to: State): void {
    this.state = to;
    this.changed();
  }

  /** Puts cursor A to where a video is, and moves the view on when that leaves it. */
  private follow(at: number): void {
    const { span } = this.state;
    const next = at < span.from || at > span.to ? inside({ from: at, to: at + length(span) }, this.bounds) : span;
    this.go({ ...this.state, a: at, span: next });
  }

  /** Shows a finding with the signals it rests on. */
  private open(f: Finding | undefined): void {
    if (f === undefined) return;
    this.steps.apart();
    this.set({ span: this.findings.stretch(f), strips: this.findings.strips(f, this.state.strips, (s) => this.signals.has(s)) });
  }

  // What a change does.

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

  private draw(): void {
    const shown = this.shown();
    this.desk.show(shown);
    if (!this.marked && shown.rows.length > 0 && shown.rows.every((r) => r.trace !== undefined)) {
      this.marked = true;
      performance.mark("strips drawn"); // for whoever measures
    }
    if (this.chosen !== undefined) this.desk.cursors(shown, this.chosen);
    this.whole.show();
    this.spanWords();
  }

  private shown(): Shown {
    const { span, a, b, strips } = this.state;
    const values = this.readings.get();
    const rows = strips.map((name): Row => ({
      name, signal: this.signals.get(name), trace: this.piece(name)?.trace,
      over: this.laid.trace(name, span, this.columnS), usual: this.laid.usual(name), values: values(name),
    }));
    return { view: span, a, b, bands: this.findings.bands, rows };
  }

  private piece(name: string): Piece | undefined { return this.windows.best(name, this.state.span, this.columnS); }

  private get columnS(): number { return length(this.state.span) / this.desk.columns; }

  /** When the view has come to rest: exact windows, readings, words, the address. */
  private async settle(): Promise<void> {
    const { span, strips } = this.state;
    const mine = ++this.settled;
    this.timer = 0;
    this.steps.write();
    const fresh = (): void => {
      this.desk.settleAxes();
      this.show();
    };
    try {
      this.trouble = "";
      await Promise.all([
        strips.length > 0 ? this.windows.load(strips, span, this.desk.columns, this.bounds, fresh) : undefined,
        this.laid.load(strips, span, this.desk.columns, this.bounds, fresh),
        this.readings.load(),
      ]);
    } catch (e) {
      this.fail(e);
    }
    if (mine !== this.settled) return; // it moved on
    this.steps.write(); // what is laid over may have been chosen meanwhile
    fresh();
    this.desk.readings(this.shown());
    this.words();
    if (this.timer === 0) this.main.dataset["state"] = "rested";
  }

  // Words around the strips.

  private spanWords(): void {
    const { span } = this.state;
    const decimals = Math.max(2, Math.min(6, 2 - Math.floor(Math.log10(length(span) / 4))));
    byID("span").textContent = `${fixed(span.from, decimals)} to ${fixed(span.to, decimals)} s`;
    byID("of").textContent = `${fixed(length(span), decimals)} of ${fixed(this.bell > 0 ? this.bell : length(this.bounds), 0)} s`;
  }

  private words(): void {
    const here = this.findings.within(this.state.span);
    const said = here[0]?.title ?? (this.findings.any ? "No finding in this stretch." : undefined);
    if (said !== undefined) byID("saying").textContent = said;
    for (const li of document.querySelectorAll<HTMLElement>(".leads li")) {
      li.classList.toggle("here", here.some((f) => String(f.rank) === li.dataset["rank"]));
    }
    this.laid.words();
    this.saving.words();
  }
}

export function begin(): void {
  if (document.getElementById("desk") === null) return;
  new TraceBench().start();
}
