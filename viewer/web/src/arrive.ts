// A match that comes in while the board is open slides in on top; the one that was there goes
// into the rows. Nothing is loaded anew, so whatever else was on the page stays as it was.

const tryAgain = 5; // times, a second apart

/** The rows of a table, by the address each leads to. */
function rowsOf(page: ParentNode): Map<string, HTMLTableRowElement> {
  const out = new Map<string, HTMLTableRowElement>();
  for (const row of page.querySelectorAll<HTMLTableRowElement>(".matches tbody tr:not(.day)")) {
    const to = row.querySelector("th a")?.getAttribute("href");
    if (to) out.set(to, row);
  }
  return out;
}

/** Adds rows to a table in front of or behind those that are there, each once. */
export function addRows(table: HTMLTableElement, groups: Iterable<HTMLTableSectionElement>, end: "top" | "bottom"): number {
  const have = new Set(rowsOf(table).keys());
  let added = 0;
  const ordered = [...groups];
  if (end === "top") ordered.reverse();
  for (const group of ordered) {
    const rows = [...group.querySelectorAll<HTMLTableRowElement>("tr:not(.day)")].filter((row) => {
      const to = row.querySelector("th a")?.getAttribute("href");
      return to && !have.has(to);
    });
    if (rows.length === 0) continue;
    added += rows.length;
    const beside = end === "top" ? table.tBodies[0] : table.tBodies[table.tBodies.length - 1];
    if (beside && beside.dataset["day"] === group.dataset["day"]) {
      const head = beside.querySelector("tr.day");
      if (end === "bottom") beside.append(...rows);
      else if (head) head.after(...rows);
      else beside.prepend(...rows);
      continue;
    }
    const body = table.ownerDocument.importNode(group, false);
    const head = group.querySelector("tr.day");
    body.append(...(head ? [head, ...rows] : rows));
    if (end === "bottom" || !table.tBodies[0]) table.append(body);
    else table.tBodies[0].before(body);
  }
  return added;
}

/**
 * Puts the newest match of a fresh board onto the one that is open, and says in words what came;
 * undefined when the fresh one shows none.
 */
export function place(page: Document, fresh: Document): string | undefined {
  const top = fresh.querySelector<HTMLElement>("section.newest");
  if (!top) return undefined;
  const words = [".name", ".robot"].map((c) => top.querySelector(c)?.textContent ?? "").join(" ") + " is in. " + (top.querySelector("h1")?.textContent ?? "");
  const table = page.querySelector<HTMLTableElement>("table.matches");
  const old = page.querySelector("section.newest");
  const freshTable = fresh.querySelector<HTMLTableElement>("table.matches");
  page.body.dataset["newest"] = fresh.body.dataset["newest"];
  if (!table || !old || !freshTable) { // the first matches: there is nothing yet that could be read
    const live = page.getElementById("live");
    const main = fresh.querySelector("main");
    if (!main) return undefined;
    fresh.getElementById("live")?.remove();
    page.querySelector("main")?.replaceChildren(...(live ? [live] : []), ...main.childNodes);
  } else {
    const heads = new Map([...freshTable.tBodies].map((b) => [b.dataset["day"], b.querySelector("tr.day")?.cloneNode(true)]));
    addRows(table, freshTable.tBodies, "top");
    rowsOf(table).get(top.querySelector("h1 a")?.getAttribute("href") ?? "")?.remove();
    for (const body of table.tBodies) { // a day is named unless it is that of the match on top
      const day = body.dataset["day"];
      const head = heads.get(day);
      if (!heads.has(day)) continue;
      const has = body.querySelector("tr.day");
      if (head && !has) body.prepend(head);
      else if (!head && has) has.remove();
    }
    old.replaceWith(top);
  }
  page.querySelector("section.newest")?.classList.add("arrived");
  return words;
}

/** Whether somebody is in the middle of something that must not move under them. */
export function busy(page: Document): boolean {
  const selected = page.getSelection?.();
  const focused = page.activeElement;
  return window.scrollY > 40 || location.search !== "" || (selected !== null && selected !== undefined && !selected.isCollapsed) ||
    (focused !== null && focused !== page.body && focused.closest(".newest, .find, .matches") !== null);
}

/** Fetches the board and puts what is newest on top; whether it came. */
export async function bring(page: Document, say: (words: string) => void): Promise<boolean> {
  if (location.pathname !== "/") return false;
  if (location.search !== "") {
    location.assign("/");
    return true;
  }
  try {
    for (let tries = 0; tries < tryAgain; tries++) {
      const answer = await fetch("/", { cache: "no-store" });
      if (!answer.ok) return false;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (fresh.body.dataset["newest"] === page.body.dataset["newest"]) { // a large folder is looked through behind the answer
        await new Promise((done) => setTimeout(done, 1000));
        continue;
      }
      const words = place(page, fresh);
      if (words === undefined) return false;
      window.scrollTo({ top: 0 });
      say(words);
      return true;
    }
  } catch {
    // the server is gone for now; the page stays whole
  }
  return false;
}

/** A place from which readers that do not see the page hear what came in. */
export function announcer(page: Document): (words: string) => void {
  const line = page.createElement("div");
  line.setAttribute("role", "status");
  line.className = "for-readers";
  page.body.append(line);
  return (words) => {
    line.textContent = words;
  };
}
