// @vitest-environment jsdom
import { beforeEach, expect, test, vi } from "vitest";
import { listen, opened, target } from "./keys";
import { list } from "./keylist";
import { findingOf, light } from "./mates";
import { isNewer, tell } from "./newest";
import { keep, read, write } from "./ticks";

beforeEach(() => {
  localStorage.clear();
  document.body.innerHTML = `
    <a id="pin" href="/m/a/b/c#finding-2">pin</a>
    <ol><li id="finding-1"><input type="checkbox" id="f1-1" data-tick="jam/1"></li><li id="finding-2"><input type="checkbox" id="f2-1" data-tick="battery/1"></li></ol>
    <table class="matches"><tbody><tr><th><a id="r1" href="/m/1">1</a></th></tr><tr><th><a id="r2" href="/m/2">2</a></th></tr></tbody></table>`;
});

const box = (id: string) => document.getElementById(id) as HTMLInputElement;

test("ticks come back on the same sheet and on no other", () => {
  keep(document, localStorage, "/m/a");
  box("f2-1").click();
  expect([...read(localStorage, "/m/a")]).toEqual(["battery/1"]);
  expect([...read(localStorage, "/m/b")]).toEqual([]);
  box("f2-1").checked = false;
  keep(document, localStorage, "/m/a");
  expect(box("f2-1").checked).toBe(true);
  expect(box("f1-1").checked).toBe(false);
});

test("a tick stays with its check when findings change places", () => {
  write(localStorage, "/m/a", ["battery/1"]);
  box("f1-1").dataset["tick"] = "battery/1";
  box("f2-1").dataset["tick"] = "jam/1";
  keep(document, localStorage, "/m/a");
  expect(box("f1-1").checked).toBe(true);
  expect(box("f2-1").checked).toBe(false);
});

test("a broken or full store loses only the ticks", () => {
  localStorage.setItem("afterbell.ticks /m/a", "{not json");
  expect([...read(localStorage, "/m/a")]).toEqual([]);
  const full = { getItem: () => null, setItem: () => { throw new Error("full"); } };
  expect(() => write(full, "/m/a", ["x"])).not.toThrow();
});

test("a pin and its row are mates", () => {
  expect(findingOf(document.getElementById("pin")!)).toBe("finding-2");
  expect(findingOf(box("f2-1"))).toBe("finding-2");
  light(document, "finding-2");
  expect([...document.querySelectorAll(".lit")].map((e) => e.id)).toEqual(["pin", "finding-2"]);
  light(document, undefined);
  expect(document.querySelectorAll(".lit")).toHaveLength(0);
});

test("keys lead to findings and through rows", () => {
  expect(target(document, "2", null)?.id).toBe("finding-2");
  expect(target(document, "7", null)).toBeUndefined();
  expect(target(document, "ArrowDown", null)?.id).toBe("r1");
  expect(target(document, "ArrowDown", document.getElementById("r1"))?.id).toBe("r2");
  expect(target(document, "ArrowUp", document.getElementById("r1"))).toBeUndefined();
  expect(target(document, "x", null)).toBeUndefined();
});

test("Enter opens the finding that has the focus", () => {
  document.getElementById("finding-2")!.insertAdjacentHTML("beforeend", `<a class="when" href="/t/a/b/c?from=1&to=2">1 s</a>`);
  expect(opened(document.getElementById("finding-2"))?.getAttribute("href")).toBe("/t/a/b/c?from=1&to=2");
  expect(opened(document.getElementById("finding-1"))).toBeUndefined();
  expect(opened(box("f2-1"))).toBeUndefined(); // a tick box does its own
  expect(opened(null)).toBeUndefined();
});

test("keys work from a tick box and leave text fields alone", () => {
  Element.prototype.scrollIntoView = () => {}; // jsdom lays nothing out
  document.body.insertAdjacentHTML("beforeend", `<input id="words">`);
  listen(document);
  const press = (id: string) => document.getElementById(id)!.dispatchEvent(new KeyboardEvent("keydown", { key: "2", bubbles: true }));
  press("words");
  expect(document.activeElement?.id).not.toBe("finding-2");
  press("f1-1");
  expect(document.activeElement?.id).toBe("finding-2");
});

test("only another match than the page knows is news", () => {
  const q15 = { token: "q15 1", match: "q15 heron", href: "/m/e/q15/heron" };
  expect(isNewer("q14 1", "/", q15)).toBe(true);
  expect(isNewer("none", "/", q15)).toBe(true); // the board was empty
  expect(isNewer("q15 1", "/", q15)).toBe(false);
  expect(isNewer("q14 1", "/m/e/q15/heron", q15)).toBe(false); // it is this page
  expect(isNewer("q14 1", "/", { ...q15, token: "" })).toBe(false);
  expect(isNewer("q14 1", "/", { ...q15, href: "javascript:alert(1)" })).toBe(false);
  for (const odd of [null, 3, "q15", [], {}]) expect(isNewer("q14 1", "/", odd)).toBe(false);
});

test("a page that is open says once that a newer match is in", async () => {
  vi.useFakeTimers();
  document.body.dataset["newest"] = "q14 1";
  const answers: unknown[] = [{ token: "q14 1", match: "q14 heron", href: "/m/e/q14/heron" }, new Error("gone"), { token: "q15 1", match: "q15 <b>", href: "/m/e/q15/heron" }];
  let asked = 0;
  tell(document, async () => {
    const answer = answers[asked++];
    if (answer instanceof Error) throw answer;
    return answer;
  }, 10);
  const line = document.querySelector("[role=status]");
  await vi.advanceTimersByTimeAsync(25);
  expect(line?.textContent).toBe("");
  await vi.advanceTimersByTimeAsync(50);
  expect(line?.textContent).toBe("A newer match is in: q15 <b>.Show it");
  expect(line?.querySelector("a")?.getAttribute("href")).toBe("/m/e/q15/heron");
  expect(asked).toBe(3);
  delete document.body.dataset["newest"];
  vi.useRealTimers();
});

test("a page that knows no newest match does not ask", async () => {
  vi.useFakeTimers();
  let asked = 0;
  tell(document, async () => asked++, 10);
  await vi.advanceTimersByTimeAsync(100);
  expect(asked).toBe(0);
  vi.useRealTimers();
});

test("a question mark shows the keys, and hides them", () => {
  HTMLDialogElement.prototype.showModal ??= function (this: HTMLDialogElement) { this.open = true; };
  HTMLDialogElement.prototype.close ??= function (this: HTMLDialogElement) { this.open = false; };
  list(document);
  const press = () => document.body.dispatchEvent(new KeyboardEvent("keydown", { key: "?", bubbles: true }));
  press();
  const dialog = document.querySelector("dialog");
  expect(dialog?.open).toBe(true);
  expect(dialog?.textContent).toContain("to that finding");
  press();
  expect(dialog?.open).toBe(false);
  expect(document.querySelectorAll("dialog").length).toBe(1);
});
