// What every page does: marks that scripts run, cleans the address, filters tables, keeps drafts, starts drawings.
import { startDrawings } from "./drawing.js";
import { singleKeys, startKeys } from "./keys.js";
import { underlays } from "./underlay.js";
import { startDrafts } from "./typed.js";

document.documentElement.classList.add("scripted");

// The dim look for work inside a cabinet, by its button or Shift and D; nothing that was typed is lost.
const wear = document.querySelector(".wear button");
function dim(event) {
  event.preventDefault();
  event.stopImmediatePropagation(); // nothing is sent, so it may be pressed again
  const on = document.documentElement.classList.toggle("cabinet");
  wear.setAttribute("aria-pressed", String(on));
  document.cookie = `cabinet=${on ? 1 : 0}; path=/; max-age=31536000; samesite=lax`;
}
wear?.form.addEventListener("submit", dim);
document.addEventListener("keydown", (event) => {
  if (event.key === "D" && wear && singleKeys() && !event.ctrlKey && !event.metaKey && !event.target.closest("input, textarea, select")) dim(event);
});

// The notice of the last entry is shown once, not again after a reload or a bookmark.
const address = new URL(location.href);
const kept = ["kept", "added", "said"].some((name) => address.searchParams.get(name));
const once = ["kept", "added", "said", "worked"];
if (once.some((name) => address.searchParams.has(name))) {
  for (const name of once) address.searchParams.delete(name);
  history.replaceState(null, "", address);
}

// The notice stays in sight until one moves on.
const notice = document.getElementById("notice");
for (const move of ["wheel", "touchmove"]) {
  addEventListener(move, () => notice?.classList.add("settled"), { passive: true, once: true });
}

for (const input of document.querySelectorAll("[data-filter]")) {
  const rows = document.getElementById(input.dataset.filter).tBodies[0].rows;
  input.addEventListener("input", () => {
    const wanted = input.value.trim().toLowerCase();
    for (const row of rows) row.hidden = !row.textContent.toLowerCase().includes(wanted);
  });
}

startDrafts(kept);
startKeys(kept);

// Cautions that were read and folded here stay folded on this page, until others are shown.
for (const box of document.querySelectorAll("details.cautions")) {
  const key = `read:${location.pathname}:${box.querySelector("summary span").textContent}`;
  if (localStorage.getItem(key)) box.open = false;
  box.addEventListener("toggle", () => (box.open ? localStorage.removeItem(key) : localStorage.setItem(key, "1")));
}

// A double press must not keep an entry twice; a form that only hands out a file may be sent again.
for (const form of document.querySelectorAll("form[method=post]:not([data-again])")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "1";
  });
}
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

underlays();
startDrawings();
