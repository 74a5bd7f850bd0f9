// What the page says of its match, and what its address says is to be seen of it.

import type { Finding, Signal } from "./api";
import { inside, type Span } from "./scales";
import { parse, type State } from "./state";

export interface Opening {
  readonly base: string; // of the match's addresses
  readonly season: string;
  readonly startS: number; // log time of match time 0
  readonly bounds: Span; // of the log, in match time
  readonly bell: number;
  readonly none: State; // what is shown where the address says nothing
  readonly state: State;
  readonly signals: readonly Signal[]; // those of the strips
  readonly findings: Finding[];
}

export function opening(main: HTMLElement, search: string): Opening {
  const d = main.dataset;
  const num = (key: string): number => Number(d[key]);
  const bounds = { from: Math.min(0, num("first")), to: Math.max(num("last"), num("bell"), num("first") + 0.001) };
  const bell = num("bell");
  const none: State = {
    span: bell > 0 ? { from: 0, to: bell } : bounds, strips: d["strips"]!.split("\n").filter((s) => s !== ""), a: undefined, b: undefined, over: undefined,
  };
  const { signals, findings } = JSON.parse(d["known"]!) as { signals: Signal[]; findings: Finding[] };
  const state = parse(search, none);
  return {
    base: d["api"]!, season: d["season"]!, startS: num("start"), bounds, bell, none, signals, findings,
    state: { ...state, span: inside(state.span, bounds), strips: state.strips.filter((s) => signals.some((k) => k.name === s)) },
  };
}
