// What can be measured on a page as it is laid out. Everything here runs inside the
// browser, so no function may use anything outside of itself; each returns its offenders in
// words, and none when all is well.

/** Whether the page can be scrolled sideways, and by what. */
export function sideways() {
  const room = window.innerWidth;
  if (document.documentElement.scrollWidth <= room) return [];
  const over = [...document.querySelectorAll("body *")]
    .filter((el) => !el.closest(".for-readers") && el.getBoundingClientRect().right > room + 1)
    .map((el) => `${el.tagName.toLowerCase()}.${el.getAttribute("class") ?? ""}`);
  return [`scrolls to ${document.documentElement.scrollWidth} of ${room} px: ${[...new Set(over)].slice(0, 5).join(", ")}`];
}

/** Labels of pictures that leave their picture or lie on each other; tolerance 1 px. */
export function labels() {
  const out = [];
  for (const svg of document.querySelectorAll("svg.picture")) {
    const frame = svg.getBoundingClientRect();
    const where = svg.closest("[id]:not(svg)")?.id ?? "";
    const texts = [...svg.querySelectorAll("text")]
      .map((el) => ({ said: el.textContent ?? "", box: el.getBoundingClientRect() }))
      .filter(({ box }) => box.width > 0);
    for (const [i, a] of texts.entries()) {
      if (a.box.left < frame.left - 1 || a.box.right > frame.right + 1 || a.box.top < frame.top - 1 || a.box.bottom > frame.bottom + 1) {
        out.push(`${where}: "${a.said}" leaves its picture`);
      }
      for (const b of texts.slice(i + 1)) {
        const wide = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
        const high = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
        if (wide > 1 && high > 1) out.push(`${where}: "${a.said}" lies on "${b.said}" by ${wide.toFixed(1)} x ${high.toFixed(1)} px`);
      }
    }
  }
  return out;
}

/** Pictures drawn for a smaller screen and blown up; a quarter over their size is let pass. */
export function enlarged() {
  const out = new Set();
  /** @type {NodeListOf<SVGSVGElement>} */
  const all = document.querySelectorAll("svg.picture");
  for (const svg of all) {
    const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    if (scale > 1.25) out.add(`${svg.closest("[id]:not(svg)")?.id ?? ""}: ${svg.getAttribute("class")} is shown ${scale.toFixed(2)} times its size`);
  }
  return [...out];
}

/** Text smaller than `least` px as it is shown. @param {number} least */
export function smallText(least) {
  const out = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const el = walker.currentNode.parentElement;
    if (!el || !walker.currentNode.textContent?.trim() || el.closest(".for-readers, title, desc") || el.getClientRects().length === 0) continue;
    const svg = el.closest("svg");
    const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
    const size = parseFloat(getComputedStyle(el).fontSize) * scale;
    if (size < least - 0.01) out.add(`${svg ? "picture in " + (svg.closest("[id]:not(svg)")?.id ?? "") : el.tagName.toLowerCase() + "." + el.className}: ${size.toFixed(2)} px`);
  }
  return [...out];
}

/**
 * Links, buttons and labels of boxes that take a hit in less than `least` px either way. A
 * link may take hits beside its words (a whole row of the board), so what counts is whether
 * a square of that size that holds its middle hits it everywhere. Links inside a sentence do not count (WCAG
 * 2.2, 2.5.8, "inline"). Pins stand as close as what they mark: they need 24 px, and the
 * list below leads to the same places ("equivalent").
 * @param {number} least
 */
export function smallTargets(least) {
  const out = [];
  for (const el of document.querySelectorAll("a[href], button, label, summary, select, textarea, input:not(label input)")) {
    let box = el.getBoundingClientRect();
    const inSentence = getComputedStyle(el).display === "inline" && !(el instanceof SVGElement) &&
      [...(el.parentElement?.childNodes ?? [])].some((n) => n.nodeType === Node.TEXT_NODE && n.textContent?.trim());
    const want = el instanceof SVGElement ? Math.min(least, 24) : least;
    if (box.width === 0 || inSentence || (box.width >= want - 0.5 && box.height >= want - 0.5)) continue;
    el.scrollIntoView({ block: "center" });
    box = el.getBoundingClientRect();
    const [x, y, half] = [box.left + box.width / 2, box.top + box.height / 2, want / 2 - 0.5];
    /** @type {(cx: number, cy: number) => boolean} */
    const hit = (cx, cy) => [-half, half].every((dx) => [-half, half].every((dy) => el.contains(document.elementFromPoint(cx + dx, cy + dy))));
    const shifts = [0, -half / 2, half / 2, -half, half];
    if (shifts.some((dx) => shifts.some((dy) => hit(x + dx, y + dy)))) continue;
    out.push(`"${(el.textContent ?? "").trim().slice(0, 60)}" is ${box.width.toFixed(0)} x ${box.height.toFixed(0)} px`);
  }
  return out;
}

/** Headings: one of the first level, which comes first, and no level left out. */
export function headings() {
  const levels = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")]
    .filter((el) => el.getClientRects().length > 0)
    .map((el) => ({ level: Number(el.tagName[1]), said: el.textContent?.trim() ?? "" }));
  const out = [];
  if (levels.filter(({ level }) => level === 1).length !== 1) out.push(`${levels.filter(({ level }) => level === 1).length} headings of level 1`);
  levels.forEach(({ level, said }, i) => {
    const before = levels[i - 1]?.level ?? 0;
    if (level > before + 1) out.push(`heading "${said}" of level ${level} follows level ${before}`);
    if (said === "") out.push(`an empty heading of level ${level}`);
  });
  return out;
}

/** Pictures: each has a name or is hidden from readers, each figure a table of its facts. */
export function pictures() {
  const out = [];
  for (const svg of document.querySelectorAll("svg")) {
    const by = svg.getAttribute("aria-labelledby")?.split(" ").map((id) => document.getElementById(id)?.textContent ?? "").join(" ");
    if (svg.getAttribute("aria-hidden") !== "true" && !(by ?? svg.getAttribute("aria-label"))?.trim()) {
      out.push(`a picture without a name: ${svg.outerHTML.slice(0, 80)}`);
    }
  }
  for (const figure of document.querySelectorAll("figure")) {
    const title = figure.querySelector("svg > title")?.textContent?.trim();
    const table = figure.querySelector("table");
    if (!title) out.push("a figure without a title");
    if (!table || table.tHead?.rows[0]?.cells.length === 0 || !table.tBodies[0]?.rows.length) out.push(`"${title}" without a table of its facts`);
  }
  return out;
}
