// Marks of one finding on a sheet (its pin, its row, its stretch in a picture) light up
// together when one of them is pointed at or has the focus.

/** The finding that an element, or something around it, belongs to. */
export function findingOf(el: Element): string | undefined {
  const link = el.closest<SVGAElement | HTMLAnchorElement>('a[href*="#finding-"]');
  const ref = link?.getAttribute("href")?.split("#")[1];
  return ref ?? el.closest('[id^="finding-"]')?.id;
}

/** Lights the mates of a finding, and puts out all others. */
export function light(root: ParentNode, finding: string | undefined): void {
  for (const el of root.querySelectorAll(".lit")) el.classList.remove("lit");
  if (finding === undefined) return;
  root.querySelector(`[id="${finding}"]`)?.classList.add("lit");
  for (const link of root.querySelectorAll(`a[href$="#${finding}"]`)) link.classList.add("lit");
}

export function link(root: Document): void {
  for (const on of ["pointerover", "focusin"]) {
    root.addEventListener(on, (e) => light(root, e.target instanceof Element ? findingOf(e.target) : undefined));
  }
  root.addEventListener("focusout", () => light(root, undefined));
}
