// Keys of the pages: 1 to 9 go to a finding of a sheet, Enter opens it on the bench, up and
// down go through the rows of the board.

import { writes } from "./typing";

/** The element a key leads to from the one that has the focus; undefined for no move. */
export function target(root: ParentNode, key: string, focused: Element | null): HTMLElement | undefined {
  if (/^[1-9]$/.test(key)) {
    return root.querySelector<HTMLElement>(`#finding-${key}`) ?? undefined;
  }
  if (key !== "ArrowDown" && key !== "ArrowUp") return undefined;
  const rows = [...root.querySelectorAll<HTMLElement>(".matches tbody tr:not(.day) th a")];
  if (rows.length === 0) return undefined;
  const at = rows.findIndex((a) => a === focused);
  if (at < 0) return key === "ArrowDown" ? rows[0] : undefined;
  return rows[at + (key === "ArrowDown" ? 1 : -1)];
}

/** The link to the bench of the finding that has the focus itself, not something inside it. */
export function opened(focused: Element | null): HTMLAnchorElement | undefined {
  return focused?.matches('[id^="finding-"]') ? focused.querySelector<HTMLAnchorElement>("a.when") ?? undefined : undefined;
}

export function listen(root: Document): void {
  root.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || writes(e.target)) return;
    if (e.key === "Enter") opened(root.activeElement)?.click();
    const to = target(root, e.key, root.activeElement);
    if (to === undefined) return;
    e.preventDefault();
    if (!to.hasAttribute("tabindex") && to.tabIndex < 0) to.tabIndex = -1; // takes the focus without being a tab stop
    to.focus({ preventScroll: true });
    to.scrollIntoView({ block: to.offsetHeight > window.innerHeight ? "start" : "nearest" });
  });
}
