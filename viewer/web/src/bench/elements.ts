// Elements as the bench makes them.

export const element = <K extends keyof HTMLElementTagNameMap>(tag: K, name: string, said = ""): HTMLElementTagNameMap[K] => {
  const e = document.createElement(tag);
  if (name !== "") e.className = name;
  if (said !== "") e.textContent = said;
  return e;
};

/** A button that stands among words. */
export function act(said: string, does: () => void): HTMLButtonElement {
  const b = element("button", "act", said);
  b.type = "button";
  b.addEventListener("click", does);
  return b;
}
