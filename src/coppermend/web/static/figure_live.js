// Results of a figure while one types: asks for the result part and puts it in place; without scripts the form works.
const form = document.getElementById("figure-form");
const result = document.getElementById("figure-result");
let waiting;
let asking;

async function refresh() {
  asking?.abort();
  asking = new AbortController();
  const query = new URLSearchParams(new FormData(form));
  try {
    const answer = await fetch(`${form.dataset.result}?${query}`, { signal: asking.signal });
    result.innerHTML = await answer.text();
    result.classList.remove("stale");
    history.replaceState(null, "", `${form.getAttribute("action")}?${query}`);
  } catch (error) {
    if (error.name !== "AbortError") result.classList.add("stale");
  }
}

form.addEventListener("input", (event) => {
  clearTimeout(waiting);
  // A choice may bring defaults of its own, which only a whole page shows.
  if (event.target.tagName === "SELECT") return form.requestSubmit();
  result.classList.add("stale");
  waiting = setTimeout(refresh, 250);
});
