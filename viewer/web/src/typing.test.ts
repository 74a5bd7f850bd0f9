// @vitest-environment jsdom

import { describe, expect, it } from "vitest";
import { listen } from "./keys";
import { writes } from "./typing";

function made(html: string): HTMLElement {
  document.body.innerHTML = html;
  return document.body.firstElementChild as HTMLElement;
}

describe("a key belongs to", () => {
  it.each(["<textarea></textarea>", "<select></select>", "<input>", "<input type=search>", "<input type=range>", "<input type=radio>"])("%s", (html) => {
    expect(writes(made(html))).toBe(true);
  });
  it.each(["<button></button>", "<a href=x></a>", "<input type=checkbox>", "<input type=file>", "<input type=submit>"])("no %s", (html) => {
    expect(writes(made(html))).toBe(false);
  });
});

it("an arrow in a filter of the board chooses there and does not go to a row", () => {
  made(`<div><select><option>a<option>b</select><table class="matches"><tbody><tr><th><a href="x">q14</a></th></tr></tbody></table></div>`);
  listen(document);
  const filter = document.querySelector("select")!;
  filter.focus();
  const key = new KeyboardEvent("keydown", { key: "ArrowDown", bubbles: true, cancelable: true });
  filter.dispatchEvent(key);
  expect(key.defaultPrevented).toBe(false);
  expect(document.activeElement).toBe(filter);
});
