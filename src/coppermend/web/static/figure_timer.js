// Timers of the cleaning steps: they count down to a moment, so that a sleeping tablet loses no time.
import { _ } from "./words.js";

for (const button of document.querySelectorAll("[data-timer]")) {
  const output = button.nextElementSibling;
  const started = button.textContent;
  let end = 0;
  let ticking;

  const show = () => {
    const left = Math.max(0, Math.round((end - Date.now()) / 1000));
    const parts = [Math.floor(left / 3600), Math.floor(left / 60) % 60, left % 60];
    output.textContent = left ? parts.map((part) => String(part).padStart(2, "0")).join(":") : _("Time is up: look before you go on.");
    output.classList.toggle("up", !left);
    if (!left) stop();
  };
  const stop = () => {
    clearInterval(ticking);
    button.textContent = started;
    end = 0;
  };

  button.addEventListener("click", () => {
    if (end) {
      stop();
      output.textContent = "";
      return;
    }
    end = Date.now() + Number(button.dataset.timer) * 1000;
    button.textContent = _("Stop the timer");
    ticking = setInterval(show, 500);
    show();
  });
}
