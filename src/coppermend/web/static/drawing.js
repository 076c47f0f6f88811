// The board drawing as a tool: pan, zoom, find a part or net, read what was tapped. Draws nothing itself.
import { Sheet, STEP } from "./sheet.js";
import { _ } from "./words.js";

export function startDrawings() {
  for (const figure of document.querySelectorAll("[data-drawing]")) new Drawing(figure);
}

class Drawing {
  constructor(figure) {
    this.figure = figure;
    this.sheets = new Map();
    this.told = figure.querySelector("figcaption");
    figure.drawing = this;
    for (const radio of figure.querySelectorAll("[name=drawing-side]")) {
      radio.addEventListener("change", () => this.ready());
    }
    for (const button of figure.querySelectorAll("[data-zoom]")) {
      button.addEventListener("click", () => this.zoomed(button.dataset.zoom));
    }
    document.addEventListener("click", (event) => {
      const button = event.target.closest("[data-find]");
      if (button) this.find(button.dataset.find, button);
    });
    this.ready();
  }

  get side() {
    return this.figure.querySelector("[name=drawing-side]:checked").value;
  }

  // Puts the drawing in its place, where it can be asked and moved.
  async ready() {
    const side = this.side;
    if (!this.sheets.has(side)) {
      const loading = this.load(this.figure.querySelector(`.sheet[data-side=${side}]`));
      this.sheets.set(side, loading);
      loading.finally(() => this.painted());
    }
    return this.sheets.get(side);
  }

  // What waits for the drawing comes once it is painted and the browser rests, drawing or no drawing.
  painted() {
    const show = () => this.figure.classList.add("is-painted");
    const rest = window.requestIdleCallback ?? setTimeout;
    requestAnimationFrame(() => requestAnimationFrame(() => rest(show)));
  }

  async load(box) {
    const picture = box.querySelector("svg.base");
    const over = box.querySelector(".over");
    const answer = await fetch(picture.dataset.src);
    if (!answer.ok) {
      this.told.textContent = _("The drawing could not be fetched. Load the page anew.");
      return null;
    }
    // Read as part of a page, which takes a browser a third of the time that an XML document takes.
    const read = document.createElement("template");
    read.innerHTML = await answer.text();
    const svg = document.adoptNode(read.content.firstElementChild);
    svg.removeAttribute("width");
    svg.removeAttribute("height");
    Object.assign(svg.dataset, over.dataset);
    svg.append(...over.childNodes);
    const sheet = new Sheet(box, svg, (element) => this.tell(element));
    picture.replaceWith(svg);
    over.remove();
    if (this.figure.dataset.focusMm) sheet.focus(this.figure.dataset.focusMm.split(" ").map(Number));
    this.figure.dispatchEvent(new CustomEvent("drawing-ready", { detail: sheet }));
    return sheet;
  }

  async zoomed(how) {
    const sheet = await this.ready();
    if (how === "all") sheet?.whole();
    else sheet?.zoom(how === "in" ? STEP : 1 / STEP);
  }

  async board() {
    this.asked ??= fetch(`/api/boards/${this.figure.dataset.sha}`).then((answer) => answer.json());
    return this.asked;
  }

  async find(name, button) {
    const sheet = await this.ready();
    if (!sheet) return;
    for (const lit of document.querySelectorAll(".find.is-lit")) lit.classList.remove("is-lit");
    button?.classList.add("is-lit");
    const found = sheet.light(name);
    if (found && button) this.figure.scrollIntoView({ block: "nearest", behavior: "smooth" });
    this.say(name, found);
  }

  tell(element) {
    const held = element.closest("[data-point], [data-net], [data-refdes]");
    if (!held || this.figure.classList.contains("is-drawing")) return;
    this.find(held.dataset.net || held.dataset.refdes || held.dataset.point);
    if (held.dataset.point) this.point = held.dataset.point;
  }

  async say(name, found) {
    const { parts, nets } = await this.board();
    const part = parts.find((p) => p.refdes === name);
    const net = nets.find((n) => n.net === name);
    const bold = document.createElement("b");
    bold.textContent = name;
    let words = found ? "" : _(": not drawn on this side");
    if (part) words = ` ${[part.value || part.type, part.value && part.type, part.section, _(part.side === "top" ? "top side" : "bottom side")].filter(Boolean).join(", ")}`;
    else if (net) words = ` ${net.does || net.role}; ${_("pins")} ${net.pins.slice(0, 12).join(", ")}${net.pins.length > 12 ? _(" and %(count)s more", { count: net.pins.length - 12 }) : ""}`;
    this.told.replaceChildren(bold, words);
  }
}
