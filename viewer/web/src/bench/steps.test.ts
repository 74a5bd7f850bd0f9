// @vitest-environment jsdom
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import type { State } from "./state";
import { Steps } from "./steps";

const none: State = { span: { from: 0, to: 135 }, strips: ["power/voltage"], a: undefined, b: undefined, over: undefined };
const bounds = { from: -2, to: 140 };
let now = 0;

/** A bench of one test, which listens on beyond it. */
function bench(): { steps: Steps; state: State; gone: State[] } {
  const of = { state: none, gone: [] as State[] };
  const go = (to: State): void => {
    of.gone.push(to);
    of.state = to;
  };
  return Object.assign(of, { steps: new Steps(none, bounds, { now: () => of.state, go }) });
}

beforeEach(() => {
  history.replaceState(null, "", "/t/event/q1/heron");
  now = 5000;
  vi.spyOn(performance, "now").mockImplementation(() => now);
});

afterEach(() => {
  vi.restoreAllMocks();
  document.body.replaceChildren();
});

test("what is done together is one step back, what is done later another", () => {
  const push = vi.spyOn(history, "pushState");
  const b = bench();
  b.steps.write();
  expect(location.search).toBe(""); // nothing was done yet
  b.state = { ...b.state, a: 3 };
  b.steps.write();
  expect(location.search).toBe("?from=0&to=135&s=power/voltage&a=3");
  now += 800;
  b.state = { ...b.state, a: 4 };
  b.steps.write();
  expect(push).toHaveBeenCalledTimes(1);
  expect(location.search).toContain("a=4");
  now += 1000;
  b.state = { ...b.state, a: 5 };
  b.steps.write();
  expect(push).toHaveBeenCalledTimes(2);
  now += 10;
  b.steps.apart();
  b.state = { ...b.state, a: 6 };
  b.steps.write();
  expect(push).toHaveBeenCalledTimes(3);
});

test("a step back shows what its address holds, within the log, and is not written again", () => {
  const push = vi.spyOn(history, "pushState");
  const b = bench();
  history.replaceState(null, "", "?from=130&to=150&s=a&s=b&b=7");
  dispatchEvent(new PopStateEvent("popstate"));
  expect(b.gone).toEqual([{ span: { from: 120, to: 140 }, strips: ["a", "b"], a: undefined, b: 7, over: undefined }]);
  const before = location.search;
  b.steps.write();
  expect(push).not.toHaveBeenCalled();
  expect(location.search).toBe(before);
});

/** Clicks a link, and says whether the browser would follow it. */
function click(href: string, name = "lead-to", how: MouseEventInit = {}): boolean {
  const a = document.body.appendChild(document.createElement("a"));
  a.href = href;
  a.className = name;
  if (name === "file") a.setAttribute("download", "");
  const e = new MouseEvent("click", { bubbles: true, cancelable: true, ...how });
  let followed = false;
  addEventListener("click", (at) => {
    followed = !at.defaultPrevented;
    at.preventDefault(); // there is nothing to load here
  }, { once: true });
  a.dispatchEvent(e);
  return followed;
}

test("a link to another view of this page shows it, any other is the browser's", () => {
  const after = vi.fn();
  const push = vi.spyOn(history, "pushState");
  const b = bench();
  b.state = { ...b.state, a: 3 };
  b.steps.write();
  b.steps.follow((a) => a.className !== "other", after);
  expect(click("?from=10&to=20&s=x&over=3")).toBe(false);
  expect(b.gone).toEqual([{ span: { from: 10, to: 20 }, strips: ["x"], a: undefined, b: undefined, over: undefined }]);
  expect(after).toHaveBeenCalledTimes(1);
  b.steps.write();
  expect(push).toHaveBeenCalledTimes(2); // however soon after what was done before
  for (const [href, name, how] of [
    ["?from=1&to=2", "other", {}], ["?from=1&to=2", "file", {}], ["?from=1&to=2", "lead-to", { ctrlKey: true }], ["?from=1&to=2", "lead-to", { shiftKey: true }],
    ["/t/event/q2/heron?from=1&to=2", "lead-to", {}], ["/t/event/q1/heron", "lead-to", {}],
  ] as const) {
    expect(click(href, name, how), `${href} ${name}`).toBe(true);
  }
  expect(b.gone).toHaveLength(1);
});

test("the copied address is that of what is on screen", async () => {
  vi.useFakeTimers();
  const link = document.body.appendChild(document.createElement("a"));
  const b = bench();
  b.steps.copies(link);
  const writeText = vi.fn(() => Promise.resolve());
  Object.defineProperty(navigator, "clipboard", { value: { writeText }, configurable: true });
  b.state = { ...b.state, a: 3 };
  link.click();
  await Promise.resolve();
  expect(writeText).toHaveBeenCalledWith(expect.stringMatching(/\/t\/event\/q1\/heron\?.*a=3$/));
  expect(link.textContent).toBe("Link copied");
  vi.runAllTimers();
  expect(link.textContent).toBe("Copy link to this view");
  delete (navigator as { clipboard?: unknown }).clipboard;
  link.click();
  await vi.advanceTimersByTimeAsync(1);
  expect(link.textContent).toBe("Copy it from the address bar");
  vi.useRealTimers();
});
