import { expect, test } from "vitest";
import { find, match, parts, wordsOf } from "./find";

const names = ["path/lift/current", "path/mouth/current", "power/current", "power/voltage", "path/lift/speed", "robot/mode", "Accuracy"];

test("words may come in any order and anywhere", () => {
  expect(find(names, "cur pa").map((h) => h.name)).toEqual(["path/lift/current", "path/mouth/current"]);
  expect(find(names, "PA CUR").map((h) => h.name)).toEqual(["path/lift/current", "path/mouth/current"]);
  expect(find(names, "cur")[0]!.name).toBe("power/current"); // the shortest in which it begins a part
  expect(find(names, "cur").map((h) => h.name)).toContain("Accuracy");
  expect(find(names, "  ")).toEqual([]);
  expect(find(names, "xyz")).toEqual([]);
});

test("typed letters are told, at the beginning of a part where there is one", () => {
  const said = (name: string, typed: string): string => parts({ name, letters: match(name, wordsOf(typed))! }).map((p) => (p.typed ? `_${p.said}_` : p.said)).join("");
  expect(said("path/lift/current", "cur pa")).toBe("_pa_th/lift/_cur_rent");
  expect(said("apath/path", "path")).toBe("apath/_path_");
  expect(said("power/voltage", "volt age")).toBe("power/_voltage_");
  expect(match("power/voltage", ["x"])).toBeUndefined();
});
