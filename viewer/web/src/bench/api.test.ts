// The answers' types against what the server promises: viewer/openapi.json, and the schema of
// reports that it leads to. The compiler holds the lists below to the types.

import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { API, type Comparison, type Finding, type Pass, type Signal, type Value } from "./api";

type Plain<V> = V extends number ? "number" : V extends string ? "string" : V extends readonly unknown[] ? "array" : never;
type Kind<V> = null extends V ? `${Plain<NonNullable<V>>} or null` : Plain<V>;
type Kinds<T> = { readonly [K in keyof T]-?: Kind<T[K]> };

interface Schema { type?: string | string[]; enum?: unknown[]; required?: string[]; properties?: Record<string, Schema> }

const read = (path: string) => JSON.parse(readFileSync(new URL(path, import.meta.url), "utf8"));
const openapi = read("../../../openapi.json");
const report = read("../../../../schemas/report.schema.json").$defs as Record<string, Schema>;

function kind(s: Schema): string {
  if (s.enum) return [...new Set(s.enum.map((v) => typeof v))].join(" or ");
  return [s.type ?? []].flat().map((t) => (t === "integer" ? "number" : t)).join(" or ");
}

/** Of the properties in use what the schema says. */
function promised(schema: Schema, used: object): Record<string, string> {
  return Object.fromEntries(Object.keys(used).map((name) => {
    const has = schema.properties?.[name];
    return [name, has === undefined ? "absent" : schema.required?.includes(name) ? kind(has) : "optional"];
  }));
}

test("signals and values are as the interface describes them", () => {
  const signal: Kinds<Signal> = {
    name: "string", group: "string", type: "string", unit: "string", samples: "number", rate_hz: "number", first_s: "number", last_s: "number", changes: "number or null",
  };
  const value: Kinds<Value> = { time_s: "number or null", value: "number or null", text: "string or null" };
  expect(promised(openapi.components.schemas.Signal, signal)).toEqual(signal);
  expect(promised(openapi.components.schemas.Value, value)).toEqual(value);
});

test("findings and passes are as the schema of reports describes them", () => {
  const pass: Kinds<Pass> = { piece: "number", enter_s: "number or null", leave_s: "number or null", outcome: "string" };
  const finding: Kinds<Omit<Finding, "rank">> = { severity: "string", title: "string", short: "string", start_s: "number", end_s: "number", spans: "array", evidence: "array" }; // its rank is its place
  const span: Kinds<Finding["spans"][number]> = { start_s: "number", end_s: "number" };
  const evidence: Kinds<Finding["evidence"][number]> = { signal: "string", start_s: "number", end_s: "number" };
  for (const [name, used] of Object.entries({ pass, finding, span, evidence })) expect(promised(report[name]!, used), name).toEqual(used);
});

test("a comparison has what the interface requires of it", () => {
  const comparison: Kinds<Comparison> = { piece: "number", stage: "string", enter_s: "number", passes: "array", time_s: "array", signals: "array" };
  const { schema } = openapi.paths["/m/{event}/{match}/{robot}/compare"].get.responses["200"].content["application/json"];
  expect(schema.required).toEqual(expect.arrayContaining(Object.keys(comparison)));
});

test("another match of the robot is asked at its own address, at this match's time", () => {
  const api = new API("/api/v1/m/millbrook-open/q14/heron", "2031", 100).another("2030/spring/q2");
  expect(api.saved("csv", ["s"], { from: 1, to: 2 })).toBe("/api/v1/m/spring/q2/heron/samples?season=2030&format=csv&signal=s&from=101.000000&to=102.000000");
});
