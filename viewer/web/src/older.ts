// Older matches come as one scrolls near them. The link stays a link: it works without this,
// it works when a load fails, and after some pages the reader is asked, so that what stands
// below the rows can be reached.

import { addRows } from "./arrive";

const askAfter = 8; // pages

/** Loads what the link leads to and puts it behind the rows. */
export async function more(page: Document, fetchText: (href: string) => Promise<string>): Promise<boolean> {
  const line = page.getElementById("older");
  const link = line?.querySelector("a");
  const table = page.querySelector<HTMLTableElement>("table.matches");
  if (!line || !link || !table || line.getAttribute("aria-busy") === "true") return false;
  const words = link.textContent;
  line.setAttribute("aria-busy", "true");
  line.classList.remove("trouble");
  line.querySelector(".why")?.remove();
  link.textContent = "Loading older matches";
  const outline = page.createElement("div");
  outline.className = "outline small";
  line.before(outline);
  try {
    const fresh = new DOMParser().parseFromString(await fetchText(link.href), "text/html");
    const rows = fresh.querySelector<HTMLTableElement>("table.matches");
    if (!rows) throw new Error("no rows");
    addRows(table, rows.tBodies, "bottom");
    const next = fresh.getElementById("older");
    if (next) {
      const note = next.querySelector(".note");
      const total = note?.textContent?.match(/of (\d+)/)?.[1];
      const top = page.querySelector("section.newest") ? 1 : 0;
      if (note && total) note.textContent = `${table.querySelectorAll("tbody tr:not(.day)").length + top} of ${total} shown`;
      line.replaceWith(next);
    } else {
      line.remove();
    }
    return true;
  } catch {
    const why = page.createElement("p");
    why.className = "why";
    why.textContent = "Older matches could not be loaded: the server does not answer. Is it still running?";
    line.classList.add("trouble");
    line.prepend(why);
    line.removeAttribute("aria-busy");
    link.textContent = words === "Loading older matches" ? "Older matches" : words;
    return false;
  } finally {
    outline.remove();
  }
}

export function follow(page: Document): void {
  if (!page.getElementById("older")) return;
  const get = async (href: string) => {
    const answer = await fetch(href, { cache: "no-store" });
    if (!answer.ok) throw new Error(String(answer.status));
    return answer.text();
  };
  let loaded = 0;
  let watched: Element | null = null;
  const near = new IntersectionObserver((seen) => {
    if (loaded < askAfter && seen.some((e) => e.isIntersecting)) void step();
  }, { rootMargin: "600px 0px" });
  const watch = () => {
    if (watched) near.unobserve(watched);
    watched = page.getElementById("older");
    if (watched) near.observe(watched);
  };
  const step = async () => {
    if (!await more(page, get)) {
      if (watched?.classList.contains("trouble")) near.disconnect(); // the reader tries again by the link
      return;
    }
    loaded++;
    watch();
  };
  page.addEventListener("click", (e) => {
    if (!(e.target instanceof Element) || !e.target.closest("#older a") || (e instanceof MouseEvent && (e.ctrlKey || e.metaKey || e.shiftKey))) return;
    e.preventDefault();
    void step();
  });
  watch();
}
