// One side of the board drawing: moved and stretched by finger, wheel and keys, asked by a tap. Knows no words.
//
// The sheet is a window that scrolls over the drawing, since a browser moves what scrolls without painting it anew,
// however many pads there are. While the size changes, what was painted is stretched; once it rests, it is painted sharp.
import { StandIn } from "./standin.js";

const MOST = 40;
const REST_MS = 160;
export const STEP = 1.35;

export class Sheet {
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
    this.rest(); // before the drawing stands in the page, so that it is laid out once
    StandIn.of(box, svg, this.home).then((made) => (this.standIn = made));
    new ResizeObserver(() => box.clientWidth && box.clientWidth !== this.painted?.across && this.rest()).observe(box);
  }

  // A place on the screen in millimetres of the picture.
  spot(event) {
    const { left, top, width } = (this.standIn?.shown ? this.standIn.copy : this.svg).getBoundingClientRect();
    const scale = width / this.home[2];
    return { x: this.home[0] + (event.clientX - left) / scale, y: this.home[1] + (event.clientY - top) / scale };
  }

  // How a view lies in the window: pixels a millimetre, the window's size, and where the drawing's corner comes to lie.
  layout([x, y, width, height]) {
    const across = this.box.clientWidth;
    const high = Math.min((across * this.home[3]) / this.home[2], parseFloat(getComputedStyle(this.box).maxHeight) || innerHeight);
    const scale = Math.min(across / this.home[2], high / this.home[3]) * (this.home[2] / width);
    const corner = (room, start, size, from, whole) => {
      const length = whole * scale;
      return length <= room ? (room - length) / 2 : -Math.min(length - room, Math.max(0, (start + size / 2 - from) * scale - room / 2));
    };
    return {
      scale, across, high,
      left: corner(across, x, width, this.home[0], this.home[2]),
      top: corner(high, y, height, this.home[1], this.home[3]),
    };
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
    this.asked ??= requestAnimationFrame(() => this.slide());
  }

  slide() {
    this.asked = undefined;
    if (!this.painted) return;
    const wanted = this.layout(this.view);
    const grown = wanted.scale / this.painted.scale;
    if (Math.abs(grown - 1) < 1e-6 && !this.svg.style.transform && !this.standIn?.shown) {
      this.scroll(wanted);
      return;
    }
    if (this.standIn) this.standIn.show(wanted, this.home[2]);
    else {
      this.svg.style.willChange = "transform"; // stretch the painted picture instead of painting each size
      const x = wanted.left - this.painted.left, y = wanted.top - this.painted.top;
      this.svg.style.transform = `translate(${x}px, ${y}px) scale(${grown})`;
    }
    this.restLater();
  }

  // Once what is shown now has been painted for a while: a slow frame is no rest.
  restLater() {
    clearTimeout(this.resting);
    const turn = (this.turn = {});
    requestAnimationFrame(() => {
      if (this.turn === turn) this.resting = setTimeout(() => this.rest(), REST_MS);
    });
  }

  // Paints the drawing at the size that the view asks for.
  rest() {
    clearTimeout(this.resting);
    this.turn = undefined;
    if (!this.box.clientWidth) return; // the other side is shown; its window opens later
    const { scale, high } = (this.painted = this.layout(this.view));
    this.box.style.height = `${high}px`;
    Object.assign(this.svg.style, {
      transform: "", willChange: "", maxHeight: "none", width: `${this.home[2] * scale}px`, height: `${this.home[3] * scale}px`,
      marginLeft: `${Math.max(0, this.painted.left)}px`, marginTop: `${Math.max(0, this.painted.top)}px`,
    });
    this.scroll(this.painted);
    this.standIn?.hide();
  }

  scroll({ left, top }) {
    this.painted = { ...this.painted, left, top };
    this.box.scrollTo({ left: Math.max(0, -left), top: Math.max(0, -top), behavior: "instant" });
    this.box.dataset.view = this.view.map((part) => part.toFixed(2)).join(" ");
  }

  // Shows a box of the board (left, bottom, right, top in mm) as large as it fits.
  focus([left, bottom, right, top]) {
    const [a, b] = [this.inPicture([left, top]), this.inPicture([right, bottom])];
    const ratio = this.home[2] / this.home[3];
    const width = Math.max(Math.abs(b[0] - a[0]), Math.abs(b[1] - a[1]) * ratio);
    this.show([(a[0] + b[0] - width) / 2, (a[1] + b[1] - width / ratio) / 2, width]);
    cancelAnimationFrame(this.asked);
    this.asked = undefined;
    this.rest(); // nothing was to be seen before, so there is nothing to shift
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
