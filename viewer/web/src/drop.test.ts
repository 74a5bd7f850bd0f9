// @vitest-environment jsdom
import { beforeEach, expect, test, vi } from "vitest";
import { dates, drop, hasFiles } from "./drop";

let page: Document; // a new one for each test: listeners stay with it

beforeEach(() => {
  page = document.implementation.createHTMLDocument();
  page.body.innerHTML = `<form class="bring" action="/in"><input type="hidden" name="written" value=""><input type="file" name="log" multiple></form><p id="elsewhere">x</p>`;
});

/** An event of dragging, which jsdom does not have. */
function drag(type: string, types: string[], files: File[] = []): Event {
  const e = new Event(type, { bubbles: true, cancelable: true });
  Object.defineProperty(e, "dataTransfer", { value: { types, files } });
  page.getElementById("elsewhere")!.dispatchEvent(e);
  return e;
}

test("the dates of files go along, in whole milliseconds", () => {
  expect(dates([{ lastModified: 1930574530000.7 }, { lastModified: 5 }])).toBe("1930574530000,5");
  expect(dates([])).toBe("");
});

test("only files are taken", () => {
  expect(hasFiles(null)).toBe(false);
  expect(hasFiles({ types: ["text/plain"] })).toBe(false);
  expect(hasFiles({ types: ["Files"] })).toBe(true);
  drop(page);
  expect(drag("drop", ["text/plain"]).defaultPrevented).toBe(false);
  expect(drag("dragover", ["text/plain"]).defaultPrevented).toBe(false);
  expect(drag("dragover", ["Files"]).defaultPrevented).toBe(true);
});

test("the page shows while files hang over it, and no longer", () => {
  drop(page);
  drag("dragenter", ["Files"]);
  drag("dragenter", ["Files"]);
  drag("dragleave", ["Files"]);
  expect(page.body.classList.contains("dropping")).toBe(true);
  drag("dragleave", ["Files"]);
  expect(page.body.classList.contains("dropping")).toBe(false);
  drag("dragenter", ["text/plain"]);
  expect(page.body.classList.contains("dropping")).toBe(false);
});

test("files that are dropped are sent as if they had been chosen", () => {
  const input = page.querySelector<HTMLInputElement>('input[type="file"]')!;
  let put: unknown;
  Object.defineProperty(input, "files", { get: () => put, set: (v) => { put = v; } });
  const form = page.querySelector("form")!;
  const sent = vi.fn((e: Event) => e.preventDefault());
  form.addEventListener("submit", sent);
  drop(page);
  const file = new File(["time_s,a\n"], "q14.csv", { lastModified: 1000 });
  expect(drag("drop", ["Files"], [file]).defaultPrevented).toBe(true);
  expect(put).toEqual([file]);
  expect(sent).toHaveBeenCalledTimes(1);
  expect(page.querySelector<HTMLInputElement>('input[name="written"]')!.value).toBe("1000");
  drag("drop", ["Files"], []);
  expect(sent).toHaveBeenCalledTimes(1);
});

test("a page without the form stays as it is", () => {
  page.body.innerHTML = `<p id="elsewhere">x</p>`;
  drop(page);
  expect(drag("drop", ["Files"]).defaultPrevented).toBe(false);
});
