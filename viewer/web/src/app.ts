import { listen } from "./keys";
import { watch } from "./live";
import { list } from "./keylist";
import { link } from "./mates";
import { tell } from "./newest";
import { keep } from "./ticks";

// Every page is whole without this script; it adds what must move under the finger.
keep(document, localStorage, location.pathname);
link(document);
listen(document);
watch(document);
list(document);
tell(document, async () => (await fetch("/newest.json")).json(), 10_000);
document.getElementById("print")?.addEventListener("click", (e) => {
  e.preventDefault();
  window.print();
});
