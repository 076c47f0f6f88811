// The board drawing as a tool: pan, zoom, find a part or net, read what was tapped. Draws nothing itself.
import { _ } from "./words.js";

const MOST = 40;
const STEP = 1.35;

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

  // Puts the drawing itself in the place of its picture, so that it can be asked and moved.
  async ready() {
    const side = this.side;
    if (!this.sheets.has(side)) {
      this.sheets.set(side, this.load(this.figure.querySelector(`.sheet[data-side=${side}]`)));
    }
    return this.sheets.get(side);
  }

  async load(box) {
    const picture = box.querySelector(".base");
    const over = box.querySelector(".over");
    const answer = await fetch(picture.getAttribute("src"));
    if (!answer.ok) return null; // the picture stays, and so does everything that needs no script
    const svg = document.adoptNode(new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement);
    svg.removeAttribute("width");
    svg.removeAttribute("height");
    Object.assign(svg.dataset, over.dataset);
    svg.append(...over.childNodes);
    picture.replaceWith(svg);
    over.remove();
    const sheet = new Sheet(box, svg, (element) => this.tell(element));
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

class Sheet {
  constructor(box, svg, onTap) {
    this.box = box;
    this.svg = svg;
    this.home = svg.getAttribute("viewBox").split(" ").map(Number);
    this.view = [...this.home];
    this.pointers = new Map();
    this.onTap = onTap;
    box.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    box.addEventListener("keydown", (event) => this.key(event));
    svg.addEventListener("pointerdown", (event) => this.down(event));
    svg.addEventListener("pointermove", (event) => this.move(event));
    for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, (event) => this.up(event));
  }

  // A place on the screen in millimetres of the picture.
  spot(event) {
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
  }

  // The same place in millimetres of the board, and back.
  onBoard({ x, y }) {
    const { side, leftMm, rightMm, topMm } = this.svg.dataset;
    return [side === "bottom" ? rightMm - x : +leftMm + x, topMm - y];
  }

  inPicture([x, y]) {
    const { side, leftMm, rightMm, topMm } = this.svg.dataset;
    return [side === "bottom" ? rightMm - x : x - leftMm, topMm - y];
  }

  show(view) {
    const width = Math.min(this.home[2], Math.max(this.home[2] / MOST, view[2]));
    const height = (width / this.home[2]) * this.home[3];
    const x = Math.min(this.home[0] + this.home[2] - width, Math.max(this.home[0], view[0]));
    const y = Math.min(this.home[1] + this.home[3] - height, Math.max(this.home[1], view[1]));
    this.view = [x, y, width, height];
    this.box.classList.toggle("is-zoomed", width < this.home[2] * 0.999);
    this.asked ??= requestAnimationFrame(() => {
      this.asked = undefined;
      this.svg.setAttribute("viewBox", this.view.join(" "));
    });
  }

  // Shows a box of the board (left, bottom, right, top in mm) as large as it fits.
  focus([left, bottom, right, top]) {
    const [a, b] = [this.inPicture([left, top]), this.inPicture([right, bottom])];
    const ratio = this.home[2] / this.home[3];
    const width = Math.max(Math.abs(b[0] - a[0]), Math.abs(b[1] - a[1]) * ratio);
    this.show([(a[0] + b[0] - width) / 2, (a[1] + b[1] - width / ratio) / 2, width]);
  }

  whole() {
    this.show(this.home);
  }

  zoom(factor, at) {
    const [x, y, width, height] = this.view;
    const centre = at ?? { x: x + width / 2, y: y + height / 2 };
    this.show([centre.x - (centre.x - x) / factor, centre.y - (centre.y - y) / factor, width / factor]);
  }

  wheel(event) {
    if (!event.ctrlKey && !this.box.classList.contains("is-zoomed") && event.deltaY > 0) return; // the page scrolls
    event.preventDefault();
    this.zoom(Math.exp(-event.deltaY / 400), this.spot(event));
  }

  key(event) {
    const move = { ArrowLeft: [-0.15, 0], ArrowRight: [0.15, 0], ArrowUp: [0, -0.15], ArrowDown: [0, 0.15] }[event.key];
    if (event.target !== this.box || event.ctrlKey || event.metaKey) return;
    if (move && this.box.classList.contains("is-zoomed")) {
      this.show([this.view[0] + move[0] * this.view[2], this.view[1] + move[1] * this.view[3], this.view[2]]);
    } else if (event.key === "+" || event.key === "=") this.zoom(STEP);
    else if (event.key === "-") this.zoom(1 / STEP);
    else if (event.key === "0") this.whole();
    else return;
    event.preventDefault();
  }

  down(event) {
    this.pointers.set(event.pointerId, event);
    this.started = { x: event.clientX, y: event.clientY, moved: false, many: this.pointers.size > 1 };
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    if (this.pointers.size === 2) this.pinch(event);
    else if (Math.hypot(event.clientX - this.started.x, event.clientY - this.started.y) > 6 || this.started.moved) this.pan(before, event);
    else return;
    this.pointers.set(event.pointerId, event);
  }

  pan(before, event) {
    this.started.moved = true;
    if (!this.box.classList.contains("is-zoomed")) return;
    if (!this.svg.hasPointerCapture(event.pointerId)) this.svg.setPointerCapture(event.pointerId);
    const [from, to] = [this.spot(before), this.spot(event)];
    this.show([this.view[0] + from.x - to.x, this.view[1] + from.y - to.y, this.view[2]]);
  }

  pinch(event) {
    this.started.moved = true;
    const other = [...this.pointers.values()].find((pointer) => pointer.pointerId !== event.pointerId);
    const before = this.pointers.get(event.pointerId);
    const apart = (p) => Math.hypot(p.clientX - other.clientX, p.clientY - other.clientY) || 1;
    const middle = { clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 };
    this.zoom(apart(event) / apart(before), this.spot(middle));
  }

  up(event) {
    const tapped = event.type === "pointerup" && this.pointers.size === 1 && this.started && !this.started.moved && !this.started.many;
    this.pointers.delete(event.pointerId);
    if (!tapped) return;
    const corner = new CustomEvent("board-tap", { detail: this.onBoard(this.spot(event)), bubbles: true, cancelable: true });
    if (this.svg.dispatchEvent(corner)) this.onTap(event.target);
  }

  light(name) {
    for (const lit of this.svg.querySelectorAll(".lit")) lit.classList.remove("lit");
    const quoted = CSS.escape(name);
    const found = this.svg.querySelectorAll(`[data-refdes="${quoted}"], [data-net="${quoted}"], [data-point="${quoted}"]`);
    for (const element of found) if (!element.closest(".overlays")) element.classList.add("lit");
    return found.length > 0;
  }
}
