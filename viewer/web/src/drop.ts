// Logs dropped anywhere on a page that has the form for them go into the form, which is
// sent as if they had been chosen.

/** What a form says of the dates of its files: milliseconds since 1970, one a file. */
export function dates(files: Iterable<Pick<File, "lastModified">>): string {
  return [...files].map((f) => Math.floor(f.lastModified)).join(",");
}

/** Whether something being dragged holds files. */
export function hasFiles(transfer: Pick<DataTransfer, "types"> | null): boolean {
  return transfer !== null && [...transfer.types].includes("Files");
}

/** The form of the page as it is now: a board that changes under the reader gets another. */
function formOf(root: Document): { form: HTMLFormElement; input: HTMLInputElement; written: HTMLInputElement } | undefined {
  const form = root.querySelector<HTMLFormElement>('form.bring[action="/in"]');
  const input = form?.querySelector<HTMLInputElement>('input[type="file"]');
  const written = form?.querySelector<HTMLInputElement>('input[name="written"]');
  return form && input && written ? { form, input, written } : undefined;
}

export function drop(root: Document): void {
  if (!formOf(root)) return;
  root.addEventListener("submit", (e) => {
    const now = formOf(root);
    if (now && e.target === now.form) now.written.value = dates(now.input.files ?? []);
  });
  let inside = 0; // entering a child comes before leaving its parent
  const mark = () => root.body.classList.toggle("dropping", inside > 0);
  root.addEventListener("dragenter", (e) => {
    if (!hasFiles(e.dataTransfer)) return;
    inside++;
    mark();
  });
  root.addEventListener("dragleave", (e) => {
    if (!hasFiles(e.dataTransfer)) return;
    inside = Math.max(0, inside - 1);
    mark();
  });
  root.addEventListener("dragover", (e) => {
    if (hasFiles(e.dataTransfer)) e.preventDefault();
  });
  root.addEventListener("drop", (e) => {
    if (!hasFiles(e.dataTransfer) || !e.dataTransfer) return;
    e.preventDefault(); // the browser would open the file in place of the page
    inside = 0;
    mark();
    const now = formOf(root);
    if (!now || e.dataTransfer.files.length === 0) return;
    now.input.files = e.dataTransfer.files;
    now.form.requestSubmit();
  });
}
