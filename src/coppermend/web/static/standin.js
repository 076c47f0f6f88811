// A copy of a large drawing that stands in for it while its size changes: painted once and stretched from then on, since
// painting thousands of pads anew for every size takes a third of a second each. Shows nothing by itself.
const MANY = 4000; // elements; fewer are painted quickly enough

export class StandIn {
  constructor(box, svg, [, , width, height]) {
    this.box = box;
    this.copy = svg.cloneNode(true);
    for (const element of [this.copy, ...this.copy.querySelectorAll("*")]) {
      for (const name of element.getAttributeNames()) if (name === "id" || name.startsWith("data-")) element.removeAttribute(name);
    }
    this.across = Math.min(box.clientWidth, 1600);
    Object.assign(this.copy.style, { margin: "0", transform: "none", width: `${this.across}px`, height: `${(this.across * height) / width}px` });
    this.cover = document.createElement("div");
    this.cover.className = "stand-in";
    this.cover.setAttribute("aria-hidden", "true");
    this.cover.append(this.copy);
    box.append(this.cover);
  }

  // Made when the browser has nothing else to do; null for a drawing that needs none.
  static async of(box, svg, home) {
    if (svg.querySelectorAll("*").length < MANY) return null;
    await new Promise((done) => (window.requestIdleCallback ?? setTimeout)(done));
    return new StandIn(box, svg, home);
  }

  get shown() {
    return this.cover.classList.contains("is-shown");
  }

  // Lies over the window as the view asks: pixels a millimetre, and where the drawing's corner comes to lie.
  show({ scale, left, top, across, high }, wide) {
    const { scrollLeft, scrollTop } = this.box;
    Object.assign(this.cover.style, { left: `${scrollLeft}px`, top: `${scrollTop}px`, width: `${across}px`, height: `${high}px` });
    this.copy.style.transform = `translate(${left}px, ${top}px) scale(${(scale * wide) / this.across})`;
    this.cover.classList.add("is-shown");
  }

  // Goes once what it stood in for is painted.
  hide() {
    requestAnimationFrame(() => requestAnimationFrame(() => this.cover.classList.remove("is-shown")));
  }
}
