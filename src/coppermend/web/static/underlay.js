// The straightened photo of a side under its drawing, as strong as its slider says; fetched only once it is wanted.
const NS = "http://www.w3.org/2000/svg", KEY = "photo-under";

export function underlays() {
  for (const figure of document.querySelectorAll("[data-drawing]")) {
    const slider = figure.querySelector("[name=photo-under]");
    if (slider) new Underlay(figure, slider);
  }
}

class Underlay {
  constructor(figure, slider) {
    this.figure = figure;
    this.slider = slider;
    this.seen = new Map(); // drawings by their sheet
    slider.value = localStorage.getItem(KEY) ?? 0;
    slider.addEventListener("input", () => {
      localStorage.setItem(KEY, slider.value);
      this.show();
    });
    figure.addEventListener("drawing-ready", ({ detail }) => {
      this.seen.set(detail.box, detail.svg);
      this.show();
    });
  }

  show() {
    const share = Number(this.slider.value) / 100;
    for (const [box, svg] of this.seen) {
      let image = svg.querySelector(".photo-layer");
      if (!image && share && box.dataset.photo) image = this.lay(box, svg);
      image?.setAttribute("opacity", share);
    }
  }

  // The photo shows the board as seen from the top, so that of the bottom is turned over with its drawing.
  lay(box, svg) {
    const { photo, widthMm, heightMm } = box.dataset;
    const image = document.createElementNS(NS, "image");
    const settings = { class: "photo-layer", href: photo, width: widthMm, height: heightMm, preserveAspectRatio: "none", "pointer-events": "none" };
    if (box.dataset.side === "bottom") settings.transform = `translate(${widthMm} 0) scale(-1 1)`;
    for (const [name, value] of Object.entries(settings)) image.setAttribute(name, value);
    svg.querySelector(".layer.outline").after(image);
    return image;
  }
}
