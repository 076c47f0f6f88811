// A page of a job follows what is added to the record elsewhere: the phone probes, the tablet shows the next probe.
// Nothing that was typed here is lost: then the page only says that there is news.
const board = document.getElementById("live");
const FOCUS = "live:focus";

let source = null;
let busy = false; // something was typed here, or the page is about to send it
for (const begun of ["input", "submit"]) addEventListener(begun, () => (busy = true), { capture: true });
addEventListener("pageshow", () => (busy = false));

function follow() {
  source?.close();
  source = null;
  if (document.hidden) return; // a browser keeps few lines open at once; hidden pages give theirs up
  source = new EventSource(`${board.dataset.live}?seen=${board.dataset.seq}`);
  source.addEventListener("entry", (event) => tell(JSON.parse(event.data)));
}

function tell(news) {
  board.dataset.seq = news.seq;
  if ("follow" in board.dataset && !busy && !document.querySelector("dialog[open]")) {
    if (document.activeElement?.id) sessionStorage.setItem(FOCUS, document.activeElement.id);
    location.reload();
    return;
  }
  board.querySelector("span").textContent = news.text;
  board.hidden = false;
}

board.querySelector("button").addEventListener("click", () => location.reload());
document.addEventListener("visibilitychange", follow);
addEventListener("pagehide", () => source?.close());
const focused = sessionStorage.getItem(FOCUS);
sessionStorage.removeItem(FOCUS);
if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
follow();
