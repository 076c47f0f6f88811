// The page of one piece of long work: once it is done on to what came of it, once it is stopped back to where one was.
import { follow } from "./errand.js";
import { _ } from "./words.js";

const bar = document.querySelector("[data-errand]");
const { errand: address, back } = bar.dataset;

try {
  const { state } = await follow(bar, address);
  if (state === "cancelled") leave();
  else location.replace(address); // it knows whether there is a page to see, a file to save, or an error to read
} catch {
  bar.querySelector(".errand-told").textContent = _("The bench does not answer. Load this page anew; the work may still go on.");
}

// The page before, as it was left: forms are still filled in.
function leave() {
  const before = document.referrer && new URL(document.referrer);
  if (before && before.origin === location.origin && before.pathname + before.search === back.split("#")[0] && history.length > 1) history.back();
  else location.replace(back);
}
