// `?` shows what the other keys do.

const keys: readonly (readonly [string, string])[] = [
  ["1 to 9", "to that finding of a sheet"],
  ["up, down", "through the rows of the board"],
  ["Enter", "opens the row"],
  ["?", "this list"],
];

export function list(root: Document): void {
  let shown: HTMLDialogElement | undefined;
  root.addEventListener("keydown", (e) => {
    if (e.key !== "?" || e.ctrlKey || e.metaKey || e.altKey) return;
    if (e.target instanceof HTMLTextAreaElement || (e.target instanceof HTMLInputElement && e.target.type !== "checkbox")) return;
    e.preventDefault();
    shown ??= root.body.appendChild(made(root));
    if (shown.open) shown.close();
    else shown.showModal(); // Escape closes it, and the focus goes back to where it was
  });
}

function made(root: Document): HTMLDialogElement {
  const dialog = root.createElement("dialog");
  dialog.setAttribute("aria-label", "Keys");
  const rows = root.createElement("dl");
  for (const [key, does] of keys) {
    rows.appendChild(root.createElement("dt")).textContent = key;
    rows.appendChild(root.createElement("dd")).textContent = does;
  }
  dialog.appendChild(rows);
  return dialog;
}
