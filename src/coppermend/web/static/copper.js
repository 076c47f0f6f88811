// The probe page by keyboard or foot pedal: space or enter is good, o is open, s is short, u undoes the last reading,
// n puts the probe off. Good and bad sound different, so that the eyes can stay on the tips.
import { sound } from "./copper_sound.js";
import { byKeys, singleKeys } from "./keys.js";

const form = document.getElementById("reading-form");
const undo = document.getElementById("undo-form");

const ohms = document.getElementById("ohms");
const refused = document.getElementById("error");
if (ohms && (byKeys() || matchMedia("(pointer: fine)").matches)) ohms.focus({ preventScroll: true });
if (ohms && !location.hash && !refused) document.getElementById("probe").scrollIntoView({ block: "nearest" });

function press(answer) {
  const button = form?.querySelector(`[name=answer][value=${answer}]`);
  if (button) form.requestSubmit(button);
}

// The tone is heard before the page goes: the form is sent again once it has sounded.
let sounded = false;
form?.addEventListener(
  "submit",
  (event) => {
    if (sounded) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const button = event.submitter;
    sound(button?.value === "good" && (!ohms?.value || verdict() !== "bad")).then(() => {
      sounded = true;
      form.requestSubmit(button);
    });
  },
  { capture: true },
);

// What a typed number says, before it is kept.
const judged = document.getElementById("verdict");
function verdict() {
  const typed = Number((ohms?.value ?? "").replace(",", "."));
  if (!judged || !ohms?.value.trim() || Number.isNaN(typed)) return "";
  const limit = Number(judged.dataset.limit);
  const low = typed <= limit;
  return low === (judged.dataset.purpose === "continuity") ? "good" : "bad";
}
ohms?.addEventListener("input", () => {
  if (!judged) return;
  const found = verdict();
  judged.dataset.verdict = found;
  judged.textContent = { good: judged.dataset.good, bad: judged.dataset.bad }[found] ?? "";
});

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  const held = event.target;
  const reading = held.id === "ohms";
  const busy = held.closest("button, a, select, textarea, summary, .sheet") || (held.closest("input") && !reading);
  if (busy) return;
  const key = event.key.toLowerCase();
  if (key === " " || key === "enter") press("good");
  else if (!singleKeys()) return;
  else if (key === "o") press("open");
  else if (key === "s") press("short");
  else if (key === "n") document.getElementById("later")?.click();
  else if (key === "u") undo?.requestSubmit();
  else {
    if (!reading && /^[0-9.]$/.test(key)) ohms?.focus(); // the digit itself lands in the field
    return;
  }
  event.preventDefault();
});
