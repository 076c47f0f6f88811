// One test at a time: the screen stays on while a test is shown; p passes, f fails, u undoes the last result.
import { byKeys, singleKeys } from "./keys.js";

const form = document.getElementById("one-form");

const ohms = document.getElementById("ohms");
if (byKeys()) ohms?.focus({ preventScroll: true });

async function stayAwake() {
  if (!form || !("wakeLock" in navigator) || document.visibilityState !== "visible") return;
  try {
    await navigator.wakeLock.request("screen");
  } catch (error) {
    console.info("the screen may go dark:", error.name); // low battery, or the browser refuses
  }
}

stayAwake();
document.addEventListener("visibilitychange", stayAwake);

document.addEventListener("keydown", (event) => {
  if (!singleKeys() || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target !== ohms && event.target.closest("input, textarea, select, button, a, summary, .sheet")) return;
  const key = event.key.toLowerCase();
  const answer = form?.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (answer) form.requestSubmit(answer);
  else if (key === "u") document.querySelector("#notice form")?.requestSubmit();
  else return;
  event.preventDefault();
});
