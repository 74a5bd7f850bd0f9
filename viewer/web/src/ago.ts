// A match that has just ended says how long ago, by the clock of the device; one of long ago keeps its date.

const minute = 60_000;
const recent = 120; // minutes

/** How long ago something ended, in words; nothing when that is no recent time. Both in milliseconds of one clock. */
export function ago(ended: number, now: number): string | undefined {
  const minutes = Math.floor((now - ended) / minute);
  if (!(minutes >= 0 && minutes < recent)) return undefined;
  return minutes === 0 ? "ended just now" : `ended ${minutes} min ago`;
}

/** Keeps the words at the newest match true while the page is open. The date is their title then. */
export function age(root: Document, now: () => number = Date.now): void {
  const say = (): void => {
    const time = root.querySelector<HTMLTimeElement>("time#ended"); // found anew: a newer match may have come in
    if (time === null) return;
    time.title ||= time.textContent ?? "";
    const said = ago(Date.parse(time.dateTime), now()) ?? time.title;
    if (time.textContent !== said) time.textContent = said;
  };
  say();
  setInterval(say, minute / 4);
}
