// A page that is open says when a newer match is in. It never changes by itself: somebody
// may be reading it.

/** What the server knows of the newest match. */
export interface Newest { token: string; match: string; href: string }

/** Whether a server's answer is one, of another match than the page knew and than it shows. */
export function isNewer(known: string, path: string, now: unknown): now is Newest {
  if (typeof now !== "object" || now === null) return false;
  const { token, match, href } = now as Partial<Newest>;
  return typeof token === "string" && typeof match === "string" && typeof href === "string" &&
    href.startsWith("/m/") && href !== path && token !== "" && token !== known;
}

/**
 * Asks every so many milliseconds, while the page can be seen, until a newer match is in. On a
 * board that nobody is in the middle of reading, bring puts it on top, and the asking goes on. A
 * board with live rows has its own way.
 */
export function tell(root: Document, ask: () => Promise<unknown>, every: number, bring?: () => Promise<boolean>): void {
  let known = root.body.dataset["newest"];
  if (known === undefined || root.getElementById("live")) return;
  const line = root.body.appendChild(root.createElement("div"));
  line.setAttribute("role", "status"); // there before its words, so that they are announced
  const timer = setInterval(async () => {
    if (root.visibilityState === "hidden") return;
    let now: unknown;
    try {
      now = await ask();
    } catch {
      return; // the server is gone for now; the page stays whole
    }
    if (known === undefined || !isNewer(known, location.pathname, now)) return;
    if (await bring?.()) {
      known = now.token;
      return;
    }
    clearInterval(timer);
    line.className = "newer";
    line.textContent = `A newer match is in: ${now.match}.`;
    const link = line.appendChild(root.createElement("a"));
    link.href = now.href;
    link.textContent = "Show it";
  }, every);
}
