// @vitest-environment jsdom
import { beforeEach, expect, test } from "vitest";
import { addRows, place } from "./arrive";
import { more } from "./older";

const row = (m: string) => `<tr><th><a href="/m/${m}">${m}</a></th></tr>`;
const group = (day: string, head: boolean, ...matches: string[]) =>
  `<tbody data-day="${day}">${head ? `<tr class="day"><th><a href="/e/${day}">${day}</a></th></tr>` : ""}${matches.map(row).join("")}</tbody>`;
const board = (top: string, groups: string, older = "") =>
  `<main><section class="row newest"><p class="name">${top}</p><p class="robot">heron</p><h1><a href="/m/${top}">Fix. ${top}</a></h1></section>` +
  `<table class="matches">${groups}</table>${older}</main>`;
const parsed = (body: string, newest = "n") => new DOMParser().parseFromString(`<body data-newest="${newest}">${body}</body>`, "text/html");
const rows = () => [...document.querySelectorAll(".matches tr")].map((r) => r.textContent);

beforeEach(() => {
  document.body.innerHTML = board("q3", group("sat", false, "q2", "q1") + group("fri", true, "p1"));
});

test("what was on top goes into the rows, and nothing else moves", () => {
  const kept = document.querySelector('a[href="/m/q1"]');
  expect(place(document, parsed(board("q4", group("sat", false, "q3", "q2", "q1") + group("fri", true, "p1")), "q4 1"))).toBe("q4 heron is in. Fix. q4");
  expect(rows()).toEqual(["q3", "q2", "q1", "fri", "p1"]);
  expect(document.querySelector("section.newest")?.className).toContain("arrived");
  expect(document.querySelector('a[href="/m/q1"]')).toBe(kept);
  expect(document.body.dataset["newest"]).toBe("q4 1");
});

test("rows that were loaded by scrolling stay", () => {
  const table = document.querySelector<HTMLTableElement>("table.matches")!;
  addRows(table, parsed(`<table>${group("fri", true, "p1", "p0")}${group("thu", true, "o9")}</table>`).querySelectorAll("tbody"), "bottom");
  expect(rows()).toEqual(["q2", "q1", "fri", "p1", "p0", "thu", "o9"]);
  place(document, parsed(board("q4", group("sat", false, "q3", "q2"))));
  expect(rows()).toEqual(["q3", "q2", "q1", "fri", "p1", "p0", "thu", "o9"]);
});

test("a new day names the day before it", () => {
  place(document, parsed(board("s1", group("sat", true, "q3", "q2", "q1") + group("fri", true, "p1"))));
  expect(rows()).toEqual(["sat", "q3", "q2", "q1", "fri", "p1"]);
});

test("a match that is sealed again stands on top alone", () => {
  place(document, parsed(board("q2", group("sat", false, "q3", "q1"))));
  expect(rows()).toEqual(["q3", "q1", "fri", "p1"]);
});

test("the first match takes the place of the words of an empty board", () => {
  document.body.innerHTML = `<main><section id="live"></section><section class="row"><h1>No match yet.</h1></section></main>`;
  expect(place(document, parsed(board("q1", "")))).toBe("q1 heron is in. Fix. q1");
  expect(document.body.textContent).not.toContain("No match yet");
  expect(document.getElementById("live")).not.toBeNull();
});

test("a board without a match changes nothing", () => {
  const before = document.body.innerHTML;
  expect(place(document, parsed("<main><h1>The data folder cannot be read.</h1></main>"))).toBeUndefined();
  expect(document.body.innerHTML).toBe(before);
});

test("older matches come behind the rows, once", async () => {
  const older = (to: string) => `<p class="older" id="older"><a href="${to}">Older matches</a> <span class="note">2 of 9 shown</span></p>`;
  document.querySelector("main")!.insertAdjacentHTML("beforeend", older("/?after=p1"));
  let asked = "";
  expect(await more(document, async (href) => {
    asked = href;
    expect(document.querySelector("#older a")?.textContent).toBe("Loading older matches");
    expect(await more(document, async () => "")).toBe(false); // one at a time
    return `<table class="matches">${group("fri", true, "p1", "p0")}</table>${older("/?after=p0")}`;
  })).toBe(true);
  expect(asked).toContain("/?after=p1");
  expect(rows()).toEqual(["q2", "q1", "fri", "p1", "p0"]);
  expect(document.querySelector("#older a")?.getAttribute("href")).toBe("/?after=p0");
  expect(document.querySelector("#older .note")?.textContent).toBe("5 of 9 shown");
  expect(document.querySelector(".outline")).toBeNull();

  expect(await more(document, () => Promise.reject(new Error("gone")))).toBe(false);
  expect(document.getElementById("older")?.textContent).toContain("could not be loaded");
  expect(await more(document, async () => `<table class="matches">${group("thu", true, "o9")}</table>`)).toBe(true);
  expect(document.getElementById("older")).toBeNull();
  expect(rows()).toContain("o9");
});
