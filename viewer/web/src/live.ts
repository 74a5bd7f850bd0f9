// The live rows of the pit board: fetched again each second while somebody looks. A newer
// match is offered, never put under the reader's eyes while they read.

const every = 1000;

export function refresh(page: Document, fetchText: () => Promise<string>, scrolled: () => boolean, reload: () => void): () => Promise<void> {
  let shown = page.getElementById("live")?.dataset.newest ?? "";
  return async () => {
    const old = page.getElementById("live");
    if (!old || page.hidden) return;
    let text: string;
    try {
      text = await fetchText();
    } catch {
      return; // the collector was stopped; what was known last stays
    }
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("live");
    if (!fresh) return;
    old.replaceChildren(...fresh.childNodes);
    const newest = fresh.dataset.newest ?? "";
    if (newest === shown) return;
    shown = newest;
    if (scrolled()) offer(page, reload);
    else reload();
  };
}

function offer(page: Document, reload: () => void): void {
  if (page.getElementById("newer")) return;
  const line = page.createElement("p");
  line.id = "newer";
  line.setAttribute("role", "status");
  line.append("A newer match is in. ");
  const show = page.createElement("button");
  show.type = "button";
  show.textContent = "Show it.";
  show.addEventListener("click", () => {
    line.remove();
    reload();
  });
  line.append(show);
  page.body.prepend(line);
}

/** Keeps the rows fresh. What brings a newer match onto the board, and who is busy reading, is told from outside. */
export function watch(page: Document, scrolled: () => boolean, show: () => void): void {
  if (!page.getElementById("live")) return;
  const step = refresh(
    page,
    async () => {
      const r = await fetch("/live", { cache: "no-store" });
      if (!r.ok) throw new Error(String(r.status));
      return r.text();
    },
    scrolled,
    show,
  );
  setInterval(() => void step(), every);
}
