// Asks for the samples of the first picture while the page is still being put together: this
// script is small and waits for nothing. How wide the picture will be is foretold; where that is
// not so, the bench asks again and nothing is lost but the question.

import { columnsOf, deskWidth, layoutOf } from "./bench/layout";
import { opening } from "./bench/opening";
import { asked, mostNames, windowQuery } from "./bench/question";

/** What was asked, and what came. */
let question: { url: string; answer: Promise<Response> } | undefined;

const main = "document" in globalThis ? document.getElementById("bench") : null;
if (main !== null) {
  const o = opening(main, location.search);
  if (o.state.strips.length > 0 && o.state.strips.length <= mostNames) {
    const columns = columnsOf(layoutOf(deskWidth(innerWidth)));
    const url = asked(o.base, o.season, "/window", windowQuery(o.state.strips, o.state.span, columns, o.startS));
    const answer = fetch(url);
    answer.catch(() => {}); // told when somebody asks for it
    question = { url, answer };
  }
}

/** The answer to a question that was asked early, once. */
export function early(url: string): Promise<Response> | undefined {
  if (question?.url !== url) return undefined;
  const { answer } = question;
  question = undefined;
  return answer;
}
