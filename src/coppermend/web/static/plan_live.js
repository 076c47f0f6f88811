// What the ticked remedies come to, while one ticks: asks for that part alone; without scripts the form shows it.
const form = document.getElementById("choice-form");
const effect = document.getElementById("plan-effect");
let asking;

async function refresh() {
  asking?.abort();
  asking = new AbortController();
  const sent = new URLSearchParams(new FormData(form));
  sent.delete("who");
  effect.classList.add("stale");
  try {
    const answer = await fetch(`${form.dataset.effect}?${sent}`, { signal: asking.signal });
    effect.innerHTML = await answer.text();
    effect.classList.remove("stale");
  } catch (error) {
    if (error.name !== "AbortError") effect.classList.add("stale");
  }
}

form?.addEventListener("change", (event) => {
  if (event.target.type === "checkbox") refresh();
});
