// The whole match above the strips, with a frame around what is on screen: the frame is
// dragged, and a press beside it brings it there.

import { inside, length, type Span } from "./scales";

export interface Bench {
  view(): Span;
  bounds(): Span;
  /** Shows another stretch. */
  look(span: Span): void;
}

const least = 8; // px of a frame that can be seen and taken

/** Where the frame of a view stands on a picture of the match, from its start to the bell, so many pixels wide. */
export function frameOf(view: Span, bell: number, wide: number): { left: number; width: number } {
  const [from, to] = [Math.min(Math.max(view.from, 0), bell), Math.min(Math.max(view.to, 0), bell)];
  return { left: (from / bell) * wide, width: Math.max(least, ((to - from) / bell) * wide) };
}

export class Whole {
  private measured: number | undefined; // width of the picture that this screen shows

  constructor(private readonly root: HTMLElement, private readonly frame: HTMLElement, private readonly bell: number, private readonly bench: Bench) {
    this.drag();
  }

  private get wide(): number {
    this.measured ??= ([...this.root.querySelectorAll("svg")].find((p) => p.clientWidth > 0) ?? this.root).clientWidth;
    return this.measured;
  }

  /** Takes the width from the page again at the next drawing. */
  refit(): void { this.measured = undefined; }

  /** Puts the frame around what is on screen. */
  show(): void {
    this.frame.hidden = this.bell <= 0;
    if (this.bell <= 0) return;
    const { left, width } = frameOf(this.bench.view(), this.bell, this.wide);
    this.frame.style.left = `${left}px`;
    this.frame.style.width = `${width}px`;
  }

  private drag(): void {
    let grip: number | undefined; // time between the pointer and the beginning of the frame
    const at = (e: PointerEvent): number => ((e.clientX - this.root.getBoundingClientRect().left) / this.wide) * this.bell;
    const look = (from: number, to: number): void => this.bench.look(inside({ from, to }, this.bench.bounds()));
    const go = (t: number): void => look(t - grip!, t - grip! + length(this.bench.view()));
    this.root.addEventListener("pointerdown", (e) => {
      if (e.button !== 0 || this.bell <= 0 || (e.target as Element).closest("a")) return;
      const view = this.bench.view();
      const t = at(e);
      const held = t >= view.from && t <= view.to;
      if (length(view) >= this.bell * 0.98) { // nothing to drag: look nearer
        grip = this.bell / 20;
        look(t - grip, t + grip);
      } else {
        grip = held ? t - view.from : length(view) / 2;
        go(t);
      }
      this.root.setPointerCapture(e.pointerId);
    });
    this.root.addEventListener("pointermove", (e) => { if (grip !== undefined) go(at(e)); });
    for (const end of ["pointerup", "pointercancel"]) this.root.addEventListener(end, () => (grip = undefined));
  }
}
