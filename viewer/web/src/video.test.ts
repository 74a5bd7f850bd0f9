// @vitest-environment jsdom
import { beforeEach, expect, test } from "vitest";
import { clock, film, recall, remember, showAt, tieSheet, videoAt } from "./video";

let at = 0;
let root = document; // one a test: what listens to one stays with it
beforeEach(() => {
  localStorage.clear();
  root = document.implementation.createHTMLDocument();
  root.body.innerHTML = `
    <section class="row ribbon"><figure class="figure"><svg class="picture"><a href="#finding-1"><text>1</text></a></svg></figure></section>
    <ol><li class="finding" id="finding-1" data-at="52.5"><div class="seen"></div></li></ol>
    <section id="video" data-bell="140" hidden><input type="file" id="video-file"><div class="film" hidden><video id="film"></video>
    <p role="status"></p><button data-moment="start">Autonomous starts</button><button data-moment="bell">The bell</button></div><p class="trouble" hidden></p></section>`;
  at = 0;
  const video = root.querySelector("video")!;
  Object.defineProperty(video, "currentTime", { get: () => at, set: (v: number) => { at = v; video.dispatchEvent(new Event("seeked")); }, configurable: true });
  URL.createObjectURL = () => "blob:x";
  URL.revokeObjectURL = () => {};
  Element.prototype.scrollIntoView = () => {};
});

const choose = (name: string) => {
  const input = root.getElementById("video-file") as HTMLInputElement;
  Object.defineProperty(input, "files", { value: [new File(["abc"], name)], configurable: true });
  input.dispatchEvent(new Event("change"));
};
const moment = (name: string) => root.querySelector<HTMLButtonElement>(`[data-moment=${name}]`)!.click();

test("one click lines a video up, at either end", () => {
  film(root, localStorage, "/m/a");
  tieSheet(root);
  let told = NaN;
  root.addEventListener(videoAt, (e) => { told = (e as CustomEvent<number>).detail; });
  choose("q14.webm");
  at = 12.5;
  moment("start");
  expect(told).toBe(0);
  at = 100;
  root.querySelector("video")!.dispatchEvent(new Event("timeupdate"));
  expect(told).toBe(87.5);
  expect(root.querySelector<HTMLElement>(".playhead")!.style.left).toBe("62.5%");
  at = 152;
  moment("bell");
  expect(told).toBe(140);
  root.dispatchEvent(new CustomEvent(showAt, { detail: 0 }));
  expect(at).toBe(12);
});

test("pins and findings lead the video, and it stays where it is before it is lined up", () => {
  film(root, localStorage, "/m/a");
  tieSheet(root);
  choose("q14.webm");
  root.querySelector<HTMLElement>(".to-video")!.click();
  expect(at).toBe(0);
  at = 10;
  moment("start");
  root.querySelector(".ribbon text")!.dispatchEvent(new MouseEvent("click", { bubbles: true }));
  expect(at).toBe(61);
  at = 0;
  root.querySelector<HTMLElement>(".to-video")!.click();
  expect(at).toBe(61);
});

test("the same file is lined up when it is chosen again, another is not", () => {
  remember(localStorage, "/m/a", { name: "q14.webm", size: 3, zeroS: 7 });
  expect(recall(localStorage, "/m/a", { name: "q14.webm", size: 3 })).toBe(7);
  expect(recall(localStorage, "/m/a", { name: "q14.webm", size: 4 })).toBeUndefined();
  expect(recall(localStorage, "/m/b", { name: "q14.webm", size: 3 })).toBeUndefined();
  localStorage.setItem("afterbell.video /m/a", "{no");
  expect(recall(localStorage, "/m/a", { name: "q14.webm", size: 3 })).toBeUndefined();
});

test("a file that is no video is said", () => {
  film(root, localStorage, "/m/a");
  choose("notes.txt");
  root.querySelector("video")!.dispatchEvent(new Event("error"));
  expect(root.querySelector(".trouble")?.textContent).toContain("cannot play notes.txt");
});

test("times are said as on a clock", () => {
  expect([0, 9.96, 59.94, 61, 3600.1].map(clock)).toEqual(["0:00.0", "0:10.0", "0:59.9", "1:01.0", "60:00.1"]);
});
