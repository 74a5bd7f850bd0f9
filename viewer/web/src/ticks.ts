// Ticks of a sheet's checks are kept on this device, one entry a sheet. A box is known by
// its finding and check (data-tick), not by its rank, which a new analysis may change.

export interface Store {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
}

const prefix = "afterbell.ticks ";

/** The names of the boxes ticked on a sheet; none when the entry is not ours to read. */
export function read(store: Store, sheet: string): Set<string> {
  try {
    const parsed: unknown = JSON.parse(store.getItem(prefix + sheet) ?? "[]");
    return new Set(Array.isArray(parsed) ? parsed.filter((x) => typeof x === "string") : []);
  } catch {
    return new Set();
  }
}

/** Writes the names of the boxes ticked; a device that keeps nothing loses only the ticks. */
export function write(store: Store, sheet: string, names: Iterable<string>): void {
  try {
    store.setItem(prefix + sheet, JSON.stringify([...names].sort()));
  } catch {
    // a full or forbidden store: the boxes still work on the page
  }
}

/** Ticks what was ticked before and keeps what is ticked from now on. */
export function keep(root: ParentNode, store: Store, sheet: string): void {
  const ticked = read(store, sheet);
  for (const box of root.querySelectorAll<HTMLInputElement>('input[type="checkbox"][data-tick]')) {
    const name = box.dataset["tick"] ?? "";
    box.checked = ticked.has(name);
    box.addEventListener("change", () => {
      if (box.checked) ticked.add(name);
      else ticked.delete(name);
      write(store, sheet, ticked);
    });
  }
}
