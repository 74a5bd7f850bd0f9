import { listen } from "./keys";
import { watch } from "./live";
import { link } from "./mates";
import { keep } from "./ticks";

// Every page is whole without this script; it adds what must move under the finger.
keep(document, localStorage, location.pathname);
link(document);
listen(document);
watch(document);
document.getElementById("print")?.addEventListener("click", (e) => {
  e.preventDefault();
  window.print();
});
