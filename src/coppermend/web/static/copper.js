// The probe page by keyboard or foot pedal: space or enter is good, o is open, u undoes the last reading.
const form = document.getElementById("reading-form");
const undo = document.getElementById("undo-form");

const ohms = document.getElementById("ohms");
if (ohms && matchMedia("(pointer: fine)").matches) ohms.focus({ preventScroll: true });
if (ohms && !location.hash) document.getElementById("probe").scrollIntoView({ block: "nearest" });

function press(answer) {
  form?.requestSubmit(form.querySelector(`[name=answer][value=${answer}]`));
}

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  const held = event.target;
  const reading = held.id === "ohms";
  const busy = held.closest("button, a, select, textarea, summary, .sheet") || (held.closest("input") && !reading);
  if (busy) return;
  const key = event.key.toLowerCase();
  if (key === " " || key === "enter") press("good");
  else if (key === "o") press("open");
  else if (key === "u") undo?.requestSubmit();
  else {
    if (!reading && /^[0-9.]$/.test(key)) ohms?.focus(); // the digit itself lands in the field
    return;
  }
  event.preventDefault();
});
