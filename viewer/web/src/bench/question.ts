// How the server is asked for a window.

import type { Span } from "./scales";

/** Signals in one question. */
export const mostNames = 64;

/** Log time as it is asked for. */
export const logTime = (t: number, startS: number): string => (t + startS).toFixed(6);

/** The address of a question. */
export const asked = (base: string, season: string, what: string, query: readonly (readonly [string, string])[]): string =>
  `${base}${what}?${new URLSearchParams([["season", season], ...query.map(([k, v]) => [k, v])])}`;

export const windowQuery = (names: readonly string[], span: Span, columns: number, startS: number): [string, string][] => [
  ...names.map((s): [string, string] => ["signal", s]),
  ["from", logTime(span.from, startS)], ["to", logTime(span.to, startS)], ["columns", String(Math.min(columns, 8192))],
];
