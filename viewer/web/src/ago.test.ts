// @vitest-environment jsdom
import { afterEach, expect, test, vi } from "vitest";
import { age, ago } from "./ago";

afterEach(() => vi.useRealTimers());

test("a match of just now says how long ago it ended, an old or a coming one does not", () => {
  const end = Date.parse("2031-03-01T14:34:22Z");
  const after = (minutes: number): string | undefined => ago(end, end + minutes * 60_000);
  expect(after(0.5)).toBe("ended just now");
  expect(after(3.2)).toBe("ended 3 min ago");
  expect(after(119.9)).toBe("ended 119 min ago");
  expect(after(120)).toBeUndefined();
  expect(after(-1)).toBeUndefined();
  expect(ago(NaN, end)).toBeUndefined();
});

test("the words go on with the clock and come back to the date", () => {
  vi.useFakeTimers({ now: Date.parse("2031-03-01T14:36:00Z") });
  document.body.innerHTML = '<time id="ended" datetime="2031-03-01T14:34:22Z">1 March 2031, 14:32</time>';
  const time = document.querySelector("time")!;
  age(document);
  expect(time.textContent).toBe("ended 1 min ago");
  expect(time.title).toBe("1 March 2031, 14:32");
  vi.advanceTimersByTime(60_000);
  expect(time.textContent).toBe("ended 2 min ago");
  vi.advanceTimersByTime(3 * 3_600_000);
  expect(time.textContent).toBe("1 March 2031, 14:32");
});
