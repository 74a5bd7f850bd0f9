// @vitest-environment jsdom
import { beforeEach, expect, test, vi } from "vitest";
import { refresh, watch } from "./live";

const part = (newest: string, text: string) => `<section id="live" data-newest="${newest}"><p>${text}</p></section>`;

beforeEach(() => {
  document.body.innerHTML = part("q1 1", "collecting");
});

test("a row is kept fresh, and nothing else moves", () => {
  let reloads = 0;
  refresh(document, () => false, () => reloads++)(part("q1 1", "silent for 4.1 s"));
  expect(document.getElementById("live")?.textContent).toBe("silent for 4.1 s");
  expect(reloads).toBe(0);
});

test("a newer match is shown, or offered to who has scrolled", () => {
  let reloads = 0;
  let scrolled = false;
  const put = refresh(document, () => scrolled, () => reloads++);
  put(part("q2 1", "x"));
  expect(reloads).toBe(1);
  scrolled = true;
  put(part("q3 1", "x"));
  put(part("q3 1", "x"));
  expect(reloads).toBe(1);
  const offers = document.querySelectorAll("#newer");
  expect(offers.length).toBe(1);
  expect(offers[0]?.textContent).toContain("A newer match is in.");
  offers[0]?.querySelector("button")?.click();
  expect(reloads).toBe(2);
});

test("what is no live rows changes nothing", () => {
  refresh(document, () => false, () => {})("<p>another page</p>");
  expect(document.getElementById("live")?.textContent).toBe("collecting");
});

test("rows are followed while somebody looks, and the connection given back while nobody does", () => {
  const made: FakeEvents[] = [];
  class FakeEvents extends EventTarget {
    closed = false;
    constructor(readonly url: string) { super(); made.push(this); }
    close(): void { this.closed = true; }
  }
  vi.stubGlobal("EventSource", FakeEvents);
  watch(document, () => false, () => {});
  expect(made.map((e) => e.url)).toEqual(["/live/events"]);
  made[0]!.dispatchEvent(new MessageEvent("message", { data: part("q1 1", "3 of 8 analyses done") }));
  expect(document.getElementById("live")?.textContent).toBe("3 of 8 analyses done");
  const hidden = vi.spyOn(document, "hidden", "get").mockReturnValue(true);
  document.dispatchEvent(new Event("visibilitychange"));
  expect(made.map((e) => e.closed)).toEqual([true]);
  hidden.mockReturnValue(false);
  document.dispatchEvent(new Event("visibilitychange"));
  expect(made.map((e) => e.closed)).toEqual([true, false]);
  vi.unstubAllGlobals();
});
