// A video of the match beside its sheet or on the bench. The file is played from where it lies
// on this device, by an object URL; nothing of it is read into the page or sent anywhere. One
// click at a moment that is known (autonomous starts, the bell) lines it up with match time.

import { writes } from "./typing";

/** What is kept of a video on this device: which file it was, and where match time 0 is in it. */
export interface Kept { name: string; size: number; zeroS: number }

export interface Store {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
}

const prefix = "afterbell.video ";

/** Where match time 0 is in that file, if it was lined up before; undefined if it was not. */
export function recall(store: Store, page: string, file: { name: string; size: number }): number | undefined {
  try {
    const k = JSON.parse(store.getItem(prefix + page) ?? "null") as Partial<Kept> | null;
    return k && k.name === file.name && k.size === file.size && Number.isFinite(k.zeroS) ? k.zeroS : undefined;
  } catch {
    return undefined;
  }
}

export function remember(store: Store, page: string, kept: Kept): void {
  try {
    store.setItem(prefix + page, JSON.stringify(kept));
  } catch {
    // a device that keeps nothing: it is lined up anew next time
  }
}

/** A time as people say it: "1:32.4". */
export function clock(s: number): string {
  const t = Math.max(0, Math.round(s * 10));
  return `${Math.floor(t / 600)}:${String((t % 600) / 10 | 0).padStart(2, "0")}.${t % 10}`;
}

const leadIn = 1.5; // s shown before a finding begins

/** Events by which the page around the video follows it, and leads it. */
export const videoAt = "afterbell:video-at"; // detail: match time in s
export const showAt = "afterbell:show-at"; // detail: match time in s

/** Puts the video to use on a page that has a place for one. */
export function film(root: Document, store: Store, path: string): void {
  const section = root.getElementById("video");
  const input = root.getElementById("video-file") as HTMLInputElement | null;
  const video = root.querySelector<HTMLVideoElement>("#film");
  const box = section?.querySelector<HTMLElement>(".film");
  const status = section?.querySelector<HTMLElement>("[role=status]");
  const trouble = section?.querySelector<HTMLElement>(".trouble");
  if (!section || !input || !video || !box || !status || !trouble) return;
  const bell = Number(section.dataset["bell"]);
  let file: File | undefined;
  let url = "";
  let zero: number | undefined; // of match time, in the video
  section.hidden = false;

  const say = () => {
    status.textContent = zero === undefined
      ? "Go to a moment you know in the video, and say which it is:"
      : `Lined up: the match starts at ${clock(zero)} of the video. Wrong? Go to the moment and say it again:`;
    box.classList.toggle("lined-up", zero !== undefined);
    root.body.classList.toggle("has-video", zero !== undefined);
  };
  input.addEventListener("change", () => {
    const chosen = input.files?.[0];
    if (!chosen) return;
    if (url) URL.revokeObjectURL(url);
    file = chosen;
    zero = recall(store, path, chosen);
    trouble.hidden = true;
    box.hidden = false;
    url = URL.createObjectURL(chosen);
    video.src = url;
    say();
  });
  video.addEventListener("error", () => {
    box.hidden = true;
    trouble.hidden = false;
    trouble.textContent = `This browser cannot play ${file?.name ?? "the file"}. A video as MP4 (H.264) or WebM plays nearly everywhere.`;
  });
  for (const button of section.querySelectorAll<HTMLButtonElement>("[data-moment]")) {
    button.addEventListener("click", () => {
      zero = video.currentTime - (button.dataset["moment"] === "bell" ? bell : 0);
      if (file) remember(store, path, { name: file.name, size: file.size, zeroS: zero });
      say();
      told();
    });
  }
  const told = () => {
    if (zero !== undefined) root.dispatchEvent(new CustomEvent(videoAt, { detail: video.currentTime - zero }));
  };
  for (const on of ["timeupdate", "seeked"]) video.addEventListener(on, told);
  root.addEventListener(showAt, (e) => {
    const t = (e as CustomEvent<number>).detail;
    if (zero === undefined || !Number.isFinite(t)) return;
    video.currentTime = Math.max(0, Math.min(t + zero, Number.isFinite(video.duration) ? video.duration : Infinity));
  });
  root.addEventListener("keydown", (e) => {
    if (box.hidden || e.ctrlKey || e.metaKey || e.altKey || writes(e.target)) return;
    if (e.key === "v") {
      if (video.paused) void video.play();
      else video.pause();
    } else if (e.key === "," || e.key === ".") {
      video.pause();
      video.currentTime += e.key === "," ? -0.1 : 0.1;
    } else return;
    e.preventDefault();
  });
}

/** Ties a sheet to its video: a line on the ribbon says where it is, and ribbon, pins and findings lead it. */
export function tieSheet(root: Document): void {
  const section = root.getElementById("video");
  const figure = root.querySelector<HTMLElement>(".row.ribbon .figure");
  if (!section || !figure) return;
  const bell = Number(section.dataset["bell"]);
  const show = (t: number) => root.dispatchEvent(new CustomEvent(showAt, { detail: t }));
  const line = root.createElement("div");
  line.className = "playhead";
  line.hidden = true;
  figure.append(line);
  root.addEventListener(videoAt, (e) => {
    const t = (e as CustomEvent<number>).detail;
    line.hidden = !(t >= 0 && t <= bell);
    line.style.left = `${(100 * t) / bell}%`;
  });
  const begins = (id: string) => Number(root.getElementById(id)?.dataset["at"] ?? NaN);
  root.addEventListener("click", (e) => {
    if (!(e.target instanceof Element)) return;
    const finding = e.target.closest('.ribbon a[href*="#finding-"]')?.getAttribute("href")?.split("#")[1];
    if (finding) show(begins(finding) - leadIn);
    const picture = e.target.closest(".ribbon .picture");
    if (!finding && picture && e instanceof MouseEvent) {
      const at = picture.getBoundingClientRect();
      show((bell * (e.clientX - at.left)) / at.width);
    }
  });
  for (const row of root.querySelectorAll<HTMLElement>(".finding[data-at]")) {
    const button = root.createElement("button");
    button.type = "button";
    button.className = "to-video";
    button.textContent = "Show in the video";
    button.addEventListener("click", () => {
      show(Number(row.dataset["at"]) - leadIn);
      section.scrollIntoView({ block: "nearest" });
    });
    row.querySelector(".seen")?.append(button);
  }
}
