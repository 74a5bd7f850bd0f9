// The questions the bench asks of its own server, and of nobody else.

import { early } from "../early";
import { asked, logTime, mostNames, windowQuery } from "./question";
import type { Span } from "./scales";
import { decode, type Trace } from "./trace";

export interface Signal {
  name: string; group: string; type: Trace["type"]; unit: string; samples: number; rate_hz: number; first_s: number; last_s: number;
  changes: number | null;
}

/**
 * Whether a signal's value holds until its next sample: states, counts, and numbers that are
 * sent when they change, such as commands, most of whose samples say what the one before said.
 */
export const holds = (s: Pick<Signal, "type" | "changes" | "samples">): boolean =>
  s.type !== "float64" || (s.changes !== null && s.samples > 4 && s.changes < s.samples / 4);

export interface Finding {
  rank: number; severity: string; title: string; short: string; start_s: number; end_s: number;
  spans: { start_s: number; end_s: number }[];
  evidence: { signal: string; start_s: number; end_s: number }[];
}

export interface Value { time_s: number | null; value: number | null; text: string | null }

export interface Pass { piece: number; enter_s: number | null; leave_s: number | null; outcome: string }

export interface ComparedPass { match: string; piece: number; enter_s: number }

export interface Comparison {
  piece: number; stage: string; enter_s: number; passes: ComparedPass[];
  time_s: number[]; // since enter_s
  signals: { signal: string; role: string; low: (number | null)[]; high: (number | null)[] }[];
}

/** What a server said that did not answer. */
export class Refused extends Error {}

const pause = (ms: number): Promise<void> => new Promise((done) => setTimeout(done, ms));

export class API {
  /** @param base of the match, @param startS log time of match time 0 */
  constructor(readonly base: string, readonly season: string, readonly startS: number) {}

  /** What another match of the same robot is asked by, "season/event/match", at this match's time. */
  another(match: string): API {
    const [season, event, name] = match.split("/");
    return new API(this.base.replace(/\/m\/[^/]+\/[^/]+\//, `/m/${event}/${name}/`), season!, this.startS);
  }

  private async get(what: string, query: readonly (readonly [string, string])[], signal?: AbortSignal): Promise<Response> {
    const url = asked(this.base, this.season, what, query);
    for (let tries = 0; ; tries++) {
      try {
        const r = await (early(url) ?? fetch(url, signal ? { signal } : {}));
        if (r.ok) return r;
        const said = (await r.json().catch(() => ({}))) as { title?: string; detail?: string };
        throw new Refused(said.detail ?? said.title ?? `${r.status}`);
      } catch (e) {
        // A server that is started again is back in a moment; what it refuses it refuses again.
        if (tries >= 1 || e instanceof Refused || signal?.aborted) throw e;
        await pause(300);
      }
    }
  }

  private log(t: number): string {
    return logTime(t, this.startS);
  }

  async window(names: readonly string[], span: Span, columns: number, signal: AbortSignal): Promise<Trace[]> {
    const out: Trace[] = [];
    for (let i = 0; i < names.length; i += mostNames) {
      const r = await this.get("/window", windowQuery(names.slice(i, i + mostNames), span, columns, this.startS), signal);
      out.push(...decode(await r.arrayBuffer(), this.startS));
    }
    return out;
  }

  async values(names: readonly string[], times: readonly number[]): Promise<Map<string, Value[]>> {
    const query: [string, string][] = names.map((s) => ["signal", s]);
    for (const t of times) query.push(["at", this.log(t)]);
    const got = (await (await this.get("/values", query)).json()) as { signals: { name: string; values: Value[] }[] };
    return new Map(got.signals.map((s) => [s.name, s.values]));
  }

  async signals(): Promise<Signal[]> {
    return ((await (await this.get("/signals", [])).json()) as { signals: Signal[] }).signals;
  }

  async passes(): Promise<Pass[]> {
    return ((await (await this.get("/report", [])).json()) as { passes: Pass[] }).passes;
  }

  async compare(piece: number): Promise<Comparison> {
    return (await (await this.get("/compare", [["piece", String(piece)]])).json()) as Comparison;
  }

  /** Where a stretch of signals can be saved. */
  saved(format: string, names: readonly string[], span: Span): string {
    const q = new URLSearchParams([["season", this.season], ["format", format]]);
    for (const s of names) q.append("signal", s);
    q.append("from", this.log(span.from));
    q.append("to", this.log(span.to));
    return `${this.base}/samples?${q}`;
  }
}
