// Keys of the pages: 1 to 9 go to a finding of a sheet, up and down go through the rows of
// the board.

/** The element a key leads to from the one that has the focus; undefined for no move. */
export function target(root: ParentNode, key: string, focused: Element | null): HTMLElement | undefined {
  if (/^[1-9]$/.test(key)) {
    return root.querySelector<HTMLElement>(`#finding-${key}`) ?? undefined;
  }
  if (key !== "ArrowDown" && key !== "ArrowUp") return undefined;
  const rows = [...root.querySelectorAll<HTMLElement>(".matches tbody th a")];
  if (rows.length === 0) return undefined;
  const at = rows.findIndex((a) => a === focused);
  if (at < 0) return key === "ArrowDown" ? rows[0] : undefined;
  return rows[at + (key === "ArrowDown" ? 1 : -1)];
}

export function listen(root: Document): void {
  root.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || e.target instanceof HTMLInputElement) return;
    const to = target(root, e.key, root.activeElement);
    if (to === undefined) return;
    e.preventDefault();
    if (!to.hasAttribute("tabindex") && to.tabIndex < 0) to.tabIndex = -1; // takes the focus without being a tab stop
    to.focus();
    to.scrollIntoView({ block: "nearest" });
  });
}
