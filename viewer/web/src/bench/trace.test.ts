import { Bool, Field, Float64, Int64, makeData, RecordBatch, RecordBatchStreamWriter, Schema, Struct, Uint32, Utf8, vectorFromArray } from "apache-arrow";
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

test("a window without rows is empty", () => {
  const [s] = decode(stream([{ name: "x", type: "bool", rows: [] }]), 0);
  expect(s!.t).toHaveLength(0);
});

test("the last sample at or before a time", () => {
  const t = Float64Array.from([1, 2, 2, 5]);
  for (const [at, want] of [[0, -1], [1, 0], [1.5, 0], [2, 2], [4.9, 2], [5, 3], [9, 3]] as const) expect(before(t, at)).toBe(want);
  expect(before(new Float64Array(), 1)).toBe(-1);
});
