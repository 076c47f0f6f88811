// Drawing the damaged area by its corners. The text field holds what will be sent; this writes it.
import { byKeys } from "./keys.js";
import { _ } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const WORDS = [[0.69, "heavy"], [0.43, "moderate"], [0, "light"]];

const clamp = (value, least, most) => Math.min(most, Math.max(least, value));

const form = document.getElementById("damage-form");
const figure = document.getElementById("drawing");
if (form && figure) start();

function start() {
  const field = form.elements.area;
  const told = document.getElementById("draw-told");
  const list = document.getElementById("areas");
  const caption = figure.querySelector("figcaption"), tapped = caption.textContent;
  const button = (name) => form.querySelector(`[data-draw=${name}]`);
  const draft = `draft:damage:${location.pathname}`;
  const sheets = new Set();
  let corners = [];
  let drawing = false;
  let said = false; // whether the caption tells of drawing
  let cross = null; // where the keys are, in millimetres of the board; null until one is pressed

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
      if (cross && drawing) {
        const [x, y] = sheet.inPicture(cross), arm = sheet.view[2] / 25;
        layer.append(shape(sheet, "path", null, { class: "cross", d: `M${x - arm} ${y}h${2 * arm}M${x} ${y - arm}v${2 * arm}` }));
      }
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
    const words = drawing ? _("Corners: %(count)s", { count: corners.length }) + (corners.length < 3 ? _("; three close an area") : "") : "";
    told.textContent = words;
    // With the focus on the drawing, the form that says all this may be out of sight.
    const hint = _("Arrows move the cross, Enter sets a corner, Backspace takes it back, C closes the area, Escape stops.");
    if (drawing) caption.textContent = byKeys() ? `${words}. ${hint}` : words;
    else if (said) caption.textContent = tapped;
    said = drawing;
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

  figure.addEventListener("drawing-ready", (event) => {
    sheets.add(event.detail);
    if (drawing && document.activeElement === button("start")) toDrawing(); // asked for before it was there
    show();
  });
  figure.addEventListener("board-tap", (event) => {
    if (!drawing) return;
    event.preventDefault();
    corners.push(event.detail.map((v) => Math.round(v * 100) / 100));
    show();
  });
  figure.addEventListener("keydown", pressed, true);
  button("start").addEventListener("click", (event) => {
    drawing = !drawing;
    if (drawing && event.detail === 0) toDrawing(); // pressed by a key
    show();
    if (drawing) figure.scrollIntoView({ block: "nearest", behavior: "smooth" });
  });
  button("undo").addEventListener("click", () => { corners.pop(); show(); });
  button("close").addEventListener("click", () => close());

  // The keys go on in the drawing.
  function toDrawing() {
    const seen = [...sheets].find(({ box }) => box.clientWidth);
    if (!seen) return;
    seen.box.focus();
    cross ??= middleOf(seen);
  }

  function middleOf(sheet) {
    const [left, top, width, height] = sheet.view;
    return sheet.onBoard({ x: left + width / 2, y: top + height / 2 }).map((v) => Math.round(v * 100) / 100);
  }

  // The keys of the drawing while it is drawn on; the cross begins in the middle of what is shown, and what is shown follows it.
  function pressed(event) {
    const sheet = [...sheets].find(({ box }) => box === event.target);
    if (!drawing || !sheet || event.ctrlKey || event.metaKey || event.altKey) return;
    const [left, top, width, height] = sheet.view;
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way) {
      const step = width / (event.shiftKey ? 10 : 60);
      const [x, y] = sheet.inPicture(cross ?? middleOf(sheet));
      const [fromX, fromY, across, high] = sheet.home;
      const to = { x: clamp(x + way[0] * step, fromX, fromX + across), y: clamp(y + way[1] * step, fromY, fromY + high) };
      cross = sheet.onBoard(to).map((v) => Math.round(v * 100) / 100);
      if (to.x < left || to.x > left + width || to.y < top || to.y > top + height) sheet.show([to.x - width / 2, to.y - height / 2, width]);
    } else if (event.key === "Enter" || event.key === " ") corners.push((cross ??= middleOf(sheet)));
    else if (event.key === "Backspace") corners.pop();
    else if (event.key.toLowerCase() === "c" && corners.length >= 3) {
      close();
      form.querySelector("button.main").focus();
    } else if (event.key === "Escape") {
      drawing = false;
      button("start").focus();
    } else return;
    event.preventDefault();
    event.stopPropagation();
    show();
  }

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
