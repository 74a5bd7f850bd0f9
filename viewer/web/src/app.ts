import { age } from "./ago";
import { announcer, bring, busy } from "./arrive";
import { drop } from "./drop";
import { listen } from "./keys";
import { watch } from "./live";
import { list } from "./keylist";
import { link } from "./mates";
import { tell } from "./newest";
import { follow } from "./older";
import { keep } from "./ticks";
import { film, tieSheet } from "./video";

// Every page is whole without this script; it adds what must move under the finger.
keep(document, localStorage, location.pathname);
link(document);
film(document, localStorage, location.pathname.replace(/^\/[mt]\//, "")); // the sheet's and the bench's are one
tieSheet(document);
listen(document);
list(document);
follow(document);
const say = announcer(document);
watch(document, () => busy(document), () => void bring(document, say));
tell(document, async () => (await fetch("/newest.json")).json(), 10_000, async () => !busy(document) && bring(document, say));
drop(document);
age(document);
document.getElementById("print")?.addEventListener("click", (e) => {
  e.preventDefault();
  window.print();
});
