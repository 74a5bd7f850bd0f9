// A window as the server sends it, an Arrow IPC stream, as arrays to draw from.

import { RecordBatchReader } from "apache-arrow";

/** One signal of a window; the arrays are as long as each other. */
export interface Trace {
  readonly name: string;
  readonly unit: string;
  readonly type: "float64" | "int64" | "bool" | "text";
  readonly samples: number; // in the stretch asked for
  readonly whole: boolean; // no reading is left out
  readonly t: Float64Array; // seconds of match time
  readonly v: Float64Array; // of text without meaning
  readonly text: readonly (string | null)[]; // empty but for text
  readonly broken: Uint8Array; // 1 where no line leads from the one before
  readonly left: Uint32Array; // changes of text not told before the next
}

interface Head { signals: { name: string; unit: string; type: Trace["type"]; samples: number; whole: boolean }[] }

/** int64 microseconds as seconds after start; exact to the microsecond for 285 years. */
function seconds(us: BigInt64Array, startS: number): Float64Array {
  const words = new Int32Array(us.buffer, us.byteOffset, us.length * 2); // little-endian, as Arrow is
  const out = new Float64Array(us.length);
  const start = Math.round(startS * 1e6);
  for (let i = 0; i < out.length; i++) out[i] = (words[2 * i + 1]! * 4294967296 + (words[2 * i]! >>> 0) - start) / 1e6;
  return out;
}

function bits(packed: Uint8Array, offset: number, n: number): Uint8Array {
  const out = new Uint8Array(n);
  for (let i = 0; i < n; i++) out[i] = (packed[(i + offset) >> 3]! >> ((i + offset) & 7)) & 1;
  return out;
}

/** The traces of a window, in the order they were asked for. StartS is the log time of match time 0. */
export function decode(body: ArrayBuffer, startS: number): Trace[] {
  const reader = RecordBatchReader.from(new Uint8Array(body)).open();
  const head = JSON.parse(reader.schema.metadata.get("afterbell.window") ?? '{"signals":[]}') as Head;
  const out: Trace[] = [];
  for (const batch of reader) {
    const of = head.signals[out.length];
    if (of === undefined) throw new Error("a window with more signals than it names");
    const n = batch.numRows;
    const [time, value, text, broken, left] = [0, 1, 2, 3, 4].map((i) => batch.getChildAt(i)!);
    const flags = broken!.data[0]!;
    out.push({
      ...of,
      t: seconds(time!.data[0]!.values as BigInt64Array, startS),
      v: of.type === "text" ? new Float64Array(n) : (value!.data[0]!.values as Float64Array).slice(0, n),
      text: of.type === "text" ? Array.from({ length: n }, (_, i) => text!.get(i) as string | null) : [],
      broken: bits(flags.values as Uint8Array, flags.offset, n),
      left: (left!.data[0]!.values as Uint32Array).slice(0, n),
    });
  }
  return out;
}

/** The last of t that is at or before x; -1 when there is none. */
export function before(t: Float64Array, x: number): number {
  let [lo, hi] = [0, t.length];
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (t[mid]! <= x) lo = mid + 1;
    else hi = mid;
  }
  return lo - 1;
}
