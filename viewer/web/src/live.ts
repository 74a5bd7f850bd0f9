// The live rows of the pit board: the server sends them as they change while somebody looks. A
// newer match is offered, never put under the reader's eyes while they read.

/** What puts rows that came onto the page. */
export function refresh(page: Document, scrolled: () => boolean, reload: () => void): (text: string) => void {
  let shown = page.getElementById("live")?.dataset.newest ?? "";
  return (text) => {
    const old = page.getElementById("live");
    if (!old) return;
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
  const put = refresh(page, scrolled, show);
  let events: EventSource | undefined;
  // A page that nobody looks at gives its connection back: a browser has six to one server. When
  // the collector stops, what was known last stays, and the browser tries again by itself.
  const follow = (): void => {
    events?.close();
    events = page.hidden ? undefined : new EventSource("/live/events");
    events?.addEventListener("message", (e: MessageEvent<string>) => put(e.data));
  };
  page.addEventListener("visibilitychange", follow);
  follow();
}
