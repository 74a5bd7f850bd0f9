import { Bool, Field, Float64, Int64, makeData, RecordBatch, RecordBatchReader, RecordBatchStreamWriter, Schema, Struct, Uint32, Utf8, vectorFromArray } from "apache-arrow";
import { expect, test } from "vitest";
import { before, decode } from "./trace";

/** A window as the server writes it, here by the Arrow library's own writer. */
function stream(signals: { name: string; type: string; rows: [bigint, number | null, string | null, boolean, number][] }[]): ArrayBuffer {
  const head = { signals: signals.map(({ name, type, rows }) => ({ name, type, unit: "V", samples: rows.length, whole: true })) };
  const schema = new Schema([
    new Field("time_us", new Int64()), new Field("value", new Float64(), true), new Field("text", new Utf8(), true),
    new Field("broken", new Bool()), new Field("left_out", new Uint32()),
  ], new Map([["afterbell.window", JSON.stringify(head)]]));
  const writer = new RecordBatchStreamWriter();
  writer.reset(undefined, schema);
  for (const { rows } of signals) {
    const column = (i: 0 | 1 | 2 | 3 | 4) => vectorFromArray(rows.map((r) => r[i]) as never[], schema.fields[i]!.type as never).data[0]!;
    writer.write(new RecordBatch(schema, makeData({ type: new Struct(schema.fields), length: rows.length, nullCount: 0, children: [0, 1, 2, 3, 4].map((i) => column(i as 0)) }) as never));
  }
  writer.finish();
  const bytes = writer.toUint8Array(true);
  return bytes.slice().buffer;
}

test("a window comes as it was sent", () => {
  const [volts, mode] = decode(stream([
    { name: "power/voltage", type: "float64", rows: [[30_000_000n, 12.5, null, false, 0], [-1n, 6.5, null, true, 0], [9_007_199_254_740n, -0.25, null, false, 0]] },
    { name: "robot/mode", type: "text", rows: [[31_000_001n, null, "driver", false, 3]] },
  ]), 30);
  expect(volts).toMatchObject({ name: "power/voltage", unit: "V", samples: 3, whole: true });
  expect([...volts!.t]).toEqual([0, -30.000001, 9_007_169.25474]);
  expect([...volts!.v]).toEqual([12.5, 6.5, -0.25]);
  expect([...volts!.broken]).toEqual([0, 1, 0]);
  expect(mode).toMatchObject({ type: "text", text: ["driver"] });
  expect([...mode!.t]).toEqual([1.000001]);
  expect([...mode!.left]).toEqual([3]);
});

/** The same by the library's own reader. */
function byLibrary(body: ArrayBuffer): { t: bigint[]; v: (number | null)[]; text: (string | null)[]; broken: boolean[]; left: number[] }[] {
  return [...RecordBatchReader.from(new Uint8Array(body))].map((batch) => {
    const [t, v, text, broken, left] = [0, 1, 2, 3, 4].map((i) => [...batch.getChildAt(i)!]);
    return { t, v, text, broken, left } as never;
  });
}

test("a window is read as the Arrow library reads it", () => {
  const rows = (n: number, text: boolean) => Array.from({ length: n }, (_, i): [bigint, number | null, string | null, boolean, number] =>
    [BigInt(i * i) - 40n, text ? null : Math.sin(i), text ? ["", "a", "é→", "driver"][i % 4]! : null, i % 7 === 3, i % 5]);
  const body = stream([
    { name: "a", type: "float64", rows: rows(61, false) }, { name: "b", type: "text", rows: rows(19, true) }, { name: "c", type: "bool", rows: rows(8, false) },
    { name: "d", type: "text", rows: [] },
  ]);
  const ours = decode(body, 0);
  const theirs = byLibrary(body);
  expect(ours).toHaveLength(theirs.length);
  ours.forEach((s, i) => {
    const other = theirs[i]!;
    expect([...s.t]).toEqual(other.t.map((us) => Number(us) / 1e6));
    if (s.type !== "text") expect([...s.v]).toEqual(other.v);
    else expect(s.text).toEqual(other.text);
    expect([...s.broken].map(Boolean)).toEqual(other.broken);
    expect([...s.left]).toEqual(other.left);
  });
});

test("what is no window is refused", () => {
  const body = stream([{ name: "a", type: "float64", rows: [[1n, 2, null, false, 0], [2n, 2, null, false, 0]] }]);
  expect(() => decode(new TextEncoder().encode("<!doctype html>").buffer as ArrayBuffer, 0)).toThrow("not an Arrow IPC stream");
  // A body cut in its middle; the stream's end mark of 8 bytes may be missing.
  expect(() => decode(body.slice(0, body.byteLength - 40), 0)).toThrow("cut off");
  expect(decode(body.slice(0, body.byteLength - 8), 0)).toHaveLength(1);
  const other = new RecordBatchStreamWriter();
  other.reset(undefined, new Schema([new Field("time", new Int64())]));
  other.finish();
  expect(() => decode(other.toUint8Array(true).slice().buffer, 0)).toThrow("a window of columns time");
});

test("a window without rows is empty", () => {
  const [s] = decode(stream([{ name: "x", type: "bool", rows: [] }]), 0);
  expect(s!.t).toHaveLength(0);
});

test("the last sample at or before a time", () => {
  const t = Float64Array.from([1, 2, 2, 5]);
  for (const [at, want] of [[0, -1], [1, 0], [1.5, 0], [2, 2], [4.9, 2], [5, 3], [9, 3]] as const) expect(before(t, at)).toBe(want);
  expect(before(new Float64Array(), 1)).toBe(-1);
});
