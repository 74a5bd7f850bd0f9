// A window as the server sends it, an Arrow IPC stream, as arrays to draw from. Of the
// library only the classes made from the format's own definition are used (Message.fbs,
// Schema.fbs): they say where the buffers lie, and the drawing takes them as they are. The
// whole reader would be four times as much script as the rest of the bench, and the first
// picture would wait for it. The tests hold this reader to the library's writer.

import { MessageHeader } from "apache-arrow/fb/message-header";
import { Message } from "apache-arrow/fb/message";
import { RecordBatch } from "apache-arrow/fb/record-batch";
import { Schema } from "apache-arrow/fb/schema";
import { ByteBuffer } from "flatbuffers";

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

/** The columns of a window with the buffers each has (Arrow columnar format 1.4): of text offsets too. */
const columns = [["time_us", 2], ["value", 2], ["text", 3], ["broken", 2], ["left_out", 2]] as const;

/** int64 microseconds as seconds after start; exact to the microsecond for 285 years. */
function seconds(words: Int32Array, startS: number): Float64Array {
  const out = new Float64Array(words.length / 2);
  const start = Math.round(startS * 1e6);
  let [high, offset] = [0, -start];
  for (let i = 0; i < out.length; i++) {
    if (words[2 * i + 1]! !== high) { // once in 71 minutes
      high = words[2 * i + 1]!;
      offset = high * 4294967296 - start;
    }
    out[i] = (offset + (words[2 * i]! >>> 0)) / 1e6;
  }
  return out;
}

function bits(packed: Uint8Array, n: number): Uint8Array {
  const out = new Uint8Array(n);
  for (let k = 0; 8 * k < n; k++) {
    const byte = packed[k]!;
    if (byte === 0) continue; // as most are: hardly a line is broken
    for (let i = 8 * k; i < Math.min(n, 8 * k + 8); i++) out[i] = (byte >> (i & 7)) & 1;
  }
  return out;
}

/** One message of a stream: its header, and where its body begins. */
interface Part { message: Message; body: number }

/** The messages of a stream (Arrow IPC streaming format), up to its end mark or the end of the bytes. */
function* messages(bytes: Uint8Array): Generator<Part> {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  for (let at = 0; at + 8 <= bytes.length;) {
    if (view.getInt32(at, true) !== -1) throw new Error("what came is not an Arrow IPC stream");
    const long = view.getInt32(at + 4, true);
    if (long === 0) return;
    const body = at + 8 + long;
    if (long < 0 || body > bytes.length) throw new Error("a window was cut off on its way");
    const message = Message.getRootAsMessage(new ByteBuffer(bytes.subarray(at + 8, body)));
    at = body + Number(message.bodyLength());
    if (at > bytes.length) throw new Error("a window was cut off on its way");
    yield { message, body };
  }
}

/** What the schema says of the signals, in the order of the batches. */
function headOf(schema: Schema): Head {
  const names = columns.map((_, i) => schema.fields(i)?.name());
  if (schema.fieldsLength() !== columns.length || columns.some(([name], i) => names[i] !== name)) {
    throw new Error(`a window of columns ${names.join(", ")}: the page is older than the server, load it again`);
  }
  for (let i = 0; i < schema.customMetadataLength(); i++) {
    const pair = schema.customMetadata(i)!;
    if (pair.key() === "afterbell.window") return JSON.parse(pair.value()!) as Head;
  }
  return { signals: [] };
}

/** The traces of a window, in the order they were asked for. StartS is the log time of match time 0. */
export function decode(body: ArrayBuffer, startS: number): Trace[] {
  const bytes = new Uint8Array(body);
  let head: Head = { signals: [] };
  const out: Trace[] = [];
  for (const { message, body: at } of messages(bytes)) {
    if (message.headerType() === MessageHeader.Schema) {
      head = headOf(message.header(new Schema()) as Schema);
    } else if (message.headerType() === MessageHeader.RecordBatch) {
      const of = head.signals[out.length];
      if (of === undefined) throw new Error("a window with more signals than it names");
      out.push({ ...of, ...arrays(bytes, at, message.header(new RecordBatch()) as RecordBatch, of.type, startS) });
    }
  }
  return out;
}

/** The arrays of a record batch whose body begins at a place in the bytes. */
function arrays(bytes: Uint8Array, at: number, batch: RecordBatch, type: Trace["type"], startS: number): Pick<Trace, "t" | "v" | "text" | "broken" | "left"> {
  if (batch.compression() !== null) throw new Error("a window with packed buffers");
  const n = Number(batch.length());
  /** A copy of a buffer: the window it came in is let go, and typed arrays must begin at multiples of 8. */
  const buffer = (i: number): ArrayBuffer => {
    const b = batch.buffers(i)!;
    const from = bytes.byteOffset + at + Number(b.offset());
    return bytes.buffer.slice(from, from + Number(b.length())) as ArrayBuffer;
  };
  let next = 0;
  const [time, value, text, broken, left] = columns.map(([, count]) => (next += count) - count) as [number, number, number, number, number];
  return {
    t: seconds(new Int32Array(buffer(time + 1), 0, 2 * n), startS),
    v: type === "text" ? new Float64Array(n) : new Float64Array(buffer(value + 1), 0, n),
    text: type === "text" ? words(bits(valid(buffer(text), n), n), new Int32Array(buffer(text + 1)), new Uint8Array(buffer(text + 2))) : [],
    broken: bits(new Uint8Array(buffer(broken + 1)), n),
    left: new Uint32Array(buffer(left + 1), 0, n),
  };
}

/** Which rows hold something: all of them where no bitmap was sent. */
const valid = (bitmap: ArrayBuffer, n: number): Uint8Array => bitmap.byteLength > 0 ? new Uint8Array(bitmap) : new Uint8Array((n + 7) >> 3).fill(255);

/** The texts of a column: offsets are one more than rows, or none at all without any. */
function words(there: Uint8Array, offsets: Int32Array, utf8: Uint8Array): (string | null)[] {
  const decoder = new TextDecoder();
  return Array.from(there, (is, i) => is === 1 ? decoder.decode(utf8.subarray(offsets[i]!, offsets[i + 1]!)) : null);
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
