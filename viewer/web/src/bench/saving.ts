// Saving what is on screen: its samples as files that the server makes, and its picture.

import type { API } from "./api";
import type { Desk } from "./desk";
import { act, element } from "./elements";
import { length, type Span } from "./scales";
import type { Piece } from "./windows";

export interface Bench {
  view(): Span;
  strips(): readonly string[];
  /** What is drawn of a signal. */
  piece(name: string): Piece | undefined;
  /** The view in words: its stretch of time, and what there is to say of it. */
  stretch(): string;
  saying(): string;
}

/** Samples of a signal in view, as far as what was fetched of it tells. */
export function samplesIn(view: Span, piece: Piece | undefined): number {
  if (piece === undefined) return 0;
  const { span, trace } = piece;
  if (Math.abs(span.from - view.from) < 1e-6 && Math.abs(span.to - view.to) < 1e-6) return trace.samples;
  if (trace.whole) return trace.t.filter((t) => t >= view.from && t <= view.to).length;
  return Math.round((trace.samples * length(view)) / length(span));
}

/** A count with thin spaces between its thousands. */
export const count = (n: number): string => String(n).replace(/\B(?=(\d{3})+$)/g, "\u202f");

export class Saving {
  /** @param p the paragraph that says what can be saved */
  constructor(private readonly p: HTMLElement, private readonly api: Pick<API, "saved">, private readonly desk: Pick<Desk, "png" | "svg">, private readonly bench: Bench) {}

  /** Says what can be saved of the view at rest. */
  words(): void {
    const [view, strips] = [this.bench.view(), this.bench.strips()];
    if (strips.length === 0) {
      this.p.textContent = "No signal is shown.";
      return;
    }
    const samples = strips.reduce((n, name) => n + samplesIn(view, this.bench.piece(name)), 0);
    const link = (said: string, format: string): HTMLAnchorElement =>
      Object.assign(element("a", "", said), { href: this.api.saved(format, strips, view), download: "" });
    this.p.replaceChildren(
      `${strips.length} ${strips.length === 1 ? "signal" : "signals"}, ${count(samples)} samples, ${this.bench.stretch()}, as `,
      link("CSV", "csv"), ", ", link("Parquet", "parquet"), " or ", link("Arrow", "arrow"), "; the picture as ",
      act("PNG", () => void this.desk.png(this.title()).then((b) => b && this.download(b, "png"))), " or ",
      act("SVG", () => this.download(new Blob([this.desk.svg(this.title())], { type: "image/svg+xml" }), "svg")), ".",
    );
  }

  /** The match, as the page's title begins with it. */
  private match(): string { return document.title.split(":")[0]!; }

  private title(): string { return `${this.match()}: ${this.bench.saying()}`; }

  private download(blob: Blob, ending: string): void {
    const a = element("a", "");
    a.href = URL.createObjectURL(blob);
    a.download = `${this.match().replaceAll(" ", "-")}-${this.bench.view().from.toFixed(2)}.${ending}`;
    a.click();
    setTimeout(() => URL.revokeObjectURL(a.href), 10_000);
  }
}
