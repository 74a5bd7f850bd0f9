// The address bar: what is on screen is written into it, a step back for each thing done and
// not for each frame; what it holds comes on screen, by a step back or by a link on the page.

import { inside, type Span } from "./scales";
import { address, parse, type State } from "./state";

const together = 900; // ms within which changes of the view are one step back

export interface Bench {
  now(): State;
  /** Shows another state. */
  go(to: State): void;
}

export class Steps {
  private written: { at: number; address: string };

  /** @param none what is shown where an address says nothing, @param bounds of the log */
  constructor(private readonly none: State, private readonly bounds: Span, private readonly bench: Bench) {
    this.written = { at: 0, address: address(bench.now()) };
    addEventListener("popstate", () => {
      const to = this.read(location.search);
      this.written = { at: 0, address: address(to) };
      bench.go(to);
    });
  }

  private read(search: string): State {
    const s = parse(search, this.none);
    return { ...s, span: inside(s.span, this.bounds) };
  }

  /** Takes what comes next for a step of its own. */
  apart(): void { this.written.at = 0; }

  /** Puts the state into the address. */
  write(): void {
    const to = address(this.bench.now());
    if (to === this.written.address) return;
    const now = performance.now();
    const method = now - this.written.at < together ? "replaceState" : "pushState";
    history[method](null, "", location.pathname + to);
    this.written = { at: now, address: to };
  }

  /** Goes where links to other views of this page lead, without loading it anew. */
  follow(leads: (a: HTMLAnchorElement) => boolean, gone: () => void): void {
    document.addEventListener("click", (e) => {
      const a = (e.target as Element).closest("a");
      if (a === null || e.ctrlKey || e.metaKey || e.shiftKey || e.button !== 0 || a.hasAttribute("download")) return;
      const to = new URL(a.getAttribute("href") ?? "", location.href);
      if (to.pathname !== location.pathname || to.search === "" || !leads(a)) return;
      e.preventDefault();
      this.apart();
      this.bench.go({ ...this.read(to.search), over: undefined });
      gone();
    });
  }

  /** Lets a link copy the address of what is on screen. */
  copies(link: HTMLElement): void {
    link.addEventListener("click", (e) => {
      e.preventDefault();
      this.write();
      // Over plain HTTP from another machine a browser has no clipboard for pages.
      const copied = "clipboard" in navigator ? navigator.clipboard.writeText(location.href) : Promise.reject(new Error("no clipboard"));
      copied.then(() => (link.textContent = "Link copied"), () => (link.textContent = "Copy it from the address bar"));
      setTimeout(() => (link.textContent = "Copy link to this view"), 4000);
    });
  }
}
