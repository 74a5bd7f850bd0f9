// `?` shows what the other keys do.

import { writes } from "./typing";

type Keys = readonly (readonly [string, string])[];

const pageKeys: Keys = [
  ["1 to 9", "to that finding of a sheet"],
  ["up, down", "through the rows of the board"],
  ["Enter", "opens the row, or the finding on the bench"],
  ["v", "plays and stops the match video"],
  [", .", "a tenth of a second back and on in it"],
  ["?", "this list"],
];

const benchKeys: Keys = [
  ["+ −", "zoom at the pointer, or at cursor A"],
  ["left, right", "pan a tenth; with Shift a screen"],
  ["A B", "set that cursor at the pointer; Escape takes both away"],
  ["N", "next finding"],
  ["1 to 9", "that finding"],
  ["/", "find a signal; Enter adds it"],
  ["Alt with up, down", "moves the strip that has the focus"],
  ["0", "the whole match"],
  ["wheel", "pans; with Ctrl zooms"],
  ["drag", "selects a stretch; twice clicked shows the whole match"],
  ["click", "sets A, with Shift B"],
  ["v", "plays and stops the match video"],
  [", .", "a tenth of a second back and on in it"],
  ["?", "this list"],
];

export function list(root: Document): void {
  let shown: HTMLDialogElement | undefined;
  root.addEventListener("keydown", (e) => {
    if (e.key !== "?" || e.ctrlKey || e.metaKey || e.altKey || writes(e.target)) return;
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
  for (const [key, does] of root.getElementById("bench") ? benchKeys : pageKeys) {
    rows.appendChild(root.createElement("dt")).textContent = key;
    rows.appendChild(root.createElement("dd")).textContent = does;
  }
  dialog.appendChild(rows);
  return dialog;
}
