// Drawing the damaged area by its corners. The text field holds what will be sent; this writes it.
import { _ } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const WORDS = [[0.69, "heavy"], [0.43, "moderate"], [0, "light"]];

const form = document.getElementById("damage-form");
const figure = document.getElementById("drawing");
if (form && figure) start();

function start() {
  const field = form.elements.area;
  const told = document.getElementById("draw-told");
  const list = document.getElementById("areas");
  const button = (name) => form.querySelector(`[data-draw=${name}]`);
  const draft = `draft:damage:${location.pathname}`;
  const sheets = new Set();
  let corners = [];
  let drawing = false;

  const features = () => {
    try {
      const read = JSON.parse(field.value);
      return read.type === "FeatureCollection" && Array.isArray(read.features) ? read.features : [];
    } catch {
      return []; // WKT, or nothing yet
    }
  };

  const keep = (list_) => {
    field.value = list_.length ? JSON.stringify({ type: "FeatureCollection", features: list_ }) : "";
    sessionStorage.setItem(draft, field.value);
    show();
  };

  function shape(sheet, kind, points, extra = {}) {
    const made = document.createElementNS(SVG, kind);
    if (points) made.setAttribute("points", points.map((p) => sheet.inPicture(p).join(" ")).join(" "));
    for (const [name, value] of Object.entries(extra)) made.setAttribute(name, value);
    return made;
  }

  function show() {
    for (const sheet of sheets) {
      const layer = sheet.svg.querySelector(".tool");
      const rings = features().flatMap(({ geometry, properties }) => {
        const polygons = geometry.type === "Polygon" ? [geometry.coordinates] : geometry.coordinates;
        return polygons.map((polygon) => [polygon[0], word(properties)]);
      });
      layer.replaceChildren(...rings.map(([ring, word]) => shape(sheet, "polygon", ring, { fill: `url(#over-${sheet.svg.dataset.side}-${word})` })));
      if (corners.length) layer.append(shape(sheet, "polyline", corners));
      for (const corner of corners) {
        const [cx, cy] = sheet.inPicture(corner);
        layer.append(shape(sheet, "circle", null, { cx, cy, r: sheet.view[2] / 90 }));
      }
    }
    list.replaceChildren(...features().map(row));
    button("close").disabled = corners.length < 3;
    button("undo").disabled = corners.length === 0;
    button("start").setAttribute("aria-pressed", String(drawing));
    button("start").textContent = drawing ? _("Stop drawing") : _("Draw");
    figure.classList.toggle("is-drawing", drawing);
    told.textContent = drawing ? _("Corners: %(count)s", { count: corners.length }) + (corners.length < 3 ? _("; three close an area") : "") : "";
  }

  function word(properties) {
    return _(WORDS.find(([least]) => (properties?.severity ?? 0.75) >= least)[1]);
  }

  function row(feature, number) {
    const item = document.createElement("li");
    const words = document.createElement("span");
    words.textContent = _("Area %(number)s, %(grade)s", { number: number + 1, grade: word(feature.properties) });
    const remove = document.createElement("button");
    remove.type = "button";
    remove.className = "small";
    remove.textContent = _("Remove");
    remove.setAttribute("aria-label", _("Remove area %(number)s", { number: number + 1 }));
    remove.addEventListener("click", () => keep(features().filter((_, i) => i !== number)));
    item.append(words, remove);
    return item;
  }

  figure.addEventListener("drawing-ready", (event) => { sheets.add(event.detail); show(); });
  figure.addEventListener("board-tap", (event) => {
    if (!drawing) return;
    event.preventDefault();
    corners.push(event.detail.map((v) => Math.round(v * 100) / 100));
    show();
  });
  button("start").addEventListener("click", () => {
    drawing = !drawing;
    show();
    if (drawing) figure.scrollIntoView({ block: "nearest", behavior: "smooth" });
  });
  button("undo").addEventListener("click", () => { corners.pop(); show(); });
  button("close").addEventListener("click", () => close());

  function close() {
    const severity = Number(form.elements.how.value);
    const ring = [...corners, corners[0]];
    corners = [];
    keep([...features(), { type: "Feature", properties: { severity }, geometry: { type: "Polygon", coordinates: [ring] } }]);
  }

  field.addEventListener("input", show);
  form.addEventListener("submit", () => {
    if (corners.length >= 3) close(); // what was tapped is not lost because the last press was forgotten
    sessionStorage.removeItem(draft);
  });
  if (!field.value) field.value = sessionStorage.getItem(draft) ?? "";
  show();
}
