// Follows long work of the bench: shows how far it is, stops it by its button or Escape. Where it leads, the page decides.
import { _ } from "./words.js";

// Resolves with the last news, whose state is done, failed or cancelled; rejects when the bench is gone.
export function follow(bar, address) {
  const progress = bar.querySelector("progress"), told = bar.querySelector(".errand-told"), form = bar.querySelector("form");
  const shut = new AbortController();
  const stop = (event) => {
    event.preventDefault();
    bar.querySelector("button").disabled = true;
    told.textContent = _("Stopping");
    fetch(`${address}/cancel`, { method: "POST", redirect: "manual" }).catch(() => {}); // the events tell whether it has stopped
  };
  form.addEventListener("submit", stop, { signal: shut.signal });
  document.addEventListener("keydown", (event) => event.key === "Escape" && stop(event), { signal: shut.signal });
  bar.hidden = false;
  bar.querySelector("button").disabled = false;
  return new Promise((end, fail) => {
    const source = new EventSource(`${address}/events`);
    const close = () => {
      source.close();
      shut.abort();
    };
    addEventListener("pagehide", close, { once: true, signal: shut.signal });
    source.addEventListener("message", ({ data }) => {
      const news = JSON.parse(data);
      if (news.total) Object.assign(progress, { max: news.total, value: news.done });
      else progress.removeAttribute("value");
      if (!bar.querySelector("button").disabled) told.textContent = words(news);
      if (news.state === "running") return;
      close();
      end(news);
    });
    source.addEventListener("error", () => {
      if (source.readyState !== EventSource.CLOSED) return; // the browser tries again by itself
      close();
      fail(new Error("no bench"));
    });
  });
}

function words({ words: now, done, total }) {
  return total > 1 && now ? _("%(now)s (%(step)s of %(all)s)", { now, step: Math.min(done + 1, total), all: total }) : now;
}
