// Whether a key belongs to the control that has the focus: then the page's own keys leave it alone.

/** Input types that take no keys of the page's: they are clicked. */
const clicked = new Set(["button", "checkbox", "file", "image", "reset", "submit"]);

/** Whether a key pressed on this element writes into it or chooses in it. */
export function writes(el: EventTarget | null): boolean {
  return el instanceof HTMLTextAreaElement || el instanceof HTMLSelectElement || (el instanceof HTMLElement && el.isContentEditable)
    || (el instanceof HTMLInputElement && !clicked.has(el.type));
}
