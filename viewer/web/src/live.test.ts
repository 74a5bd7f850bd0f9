// @vitest-environment jsdom
import { beforeEach, expect, test } from "vitest";
import { refresh } from "./live";

const part = (newest: string, text: string) => `<section id="live" data-newest="${newest}"><p>${text}</p></section>`;

beforeEach(() => {
  document.body.innerHTML = part("q1 1", "collecting");
});

test("a row is kept fresh, and nothing else moves", async () => {
  let reloads = 0;
  await refresh(document, async () => part("q1 1", "silent for 4.1 s"), () => false, () => reloads++)();
  expect(document.getElementById("live")?.textContent).toBe("silent for 4.1 s");
  expect(reloads).toBe(0);
});

test("a newer match is shown, or offered to who has scrolled", async () => {
  let reloads = 0;
  let scrolled = false;
  let newest = "q2 1";
  const step = refresh(document, async () => part(newest, "x"), () => scrolled, () => reloads++);
  await step();
  expect(reloads).toBe(1);
  scrolled = true;
  newest = "q3 1";
  await step();
  await step();
  expect(reloads).toBe(1);
  const offers = document.querySelectorAll("#newer");
  expect(offers.length).toBe(1);
  expect(offers[0]?.textContent).toContain("A newer match is in.");
  offers[0]?.querySelector("button")?.click();
  expect(reloads).toBe(2);
});

test("what was known last stays when the collector is gone", async () => {
  await refresh(document, () => Promise.reject(new Error("gone")), () => false, () => {})();
  expect(document.getElementById("live")?.textContent).toBe("collecting");
});
