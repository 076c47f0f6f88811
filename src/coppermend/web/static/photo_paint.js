// The damage found, laid over the straightened photo and corrected with a brush, by finger or by keys; kept as a draft.
import { _, area, lengthNumber, lengthSign } from "./words.js";

const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const KEPT = "damage-draft"; // only the map last worked on is kept in this browser: room there is small

// Whether a key presses (true), moves (false), or means nothing here (null).
export const pressed = ({ key }) => (key === "Enter" || key === " " ? true : STEPS[key] ? false : null);

// Where an arrow key leads, within a picture; with shift by a tenth of a step.
export function moved(place, event, step, size) {
  const length = event.shiftKey ? step / 10 : step;
  return place.map((v, i) => Math.min(size[i] - 1, Math.max(0, v + STEPS[event.key][i] * length)));
}

export function painting(root) {
  const step = document.getElementById("step-paint");
  const straight = document.getElementById("straight");
  const overlay = document.getElementById("overlay");
  const form = document.getElementById("keep-map");
  const undo = document.getElementById("undo");
  const before = document.getElementById("before");
  const opacity = document.getElementById("opacity");
  let rows = 0, columns = 0, severity = null, proposal = null, history = [], last = null, found = null, aimed = null;

  root.addEventListener("found", async ({ detail }) => {
    await open(detail, null);
    keepDraft();
    step.scrollIntoView({ behavior: "smooth" });
  });

  async function greysOf(blob) {
    const image = await createImageBitmap(blob);
    const canvas = new OffscreenCanvas(columns, rows);
    const pen = canvas.getContext("2d");
    pen.drawImage(image, 0, 0);
    const { data } = pen.getImageData(0, 0, columns, rows);
    return Uint8Array.from({ length: rows * columns }, (_, i) => data[4 * i]);
  }

  // What was found, and the map as corrected so far where there is one.
  async function open(detail, corrected) {
    const { map, straight: picture, side, ...rest } = detail;
    found = detail;
    ({ rows, columns } = detail);
    straight.src = `/attachments/${picture}`;
    overlay.width = columns; overlay.height = rows;
    proposal = await greysOf(await (await fetch(`/attachments/${map}`)).blob());
    severity = corrected ? await greysOf(corrected) : proposal.slice();
    history = [];
    aimed = [columns / 2, rows / 2];
    form.elements.proposed.value = map;
    form.elements.side.value = side;
    form.elements.straight.value = picture;
    form.elements.registration.value = JSON.stringify({ pixel_to_mm: rest.pixel_to_mm, camera: rest.camera, rms_mm: rest.rms_mm });
    step.hidden = false;
    show();
  }

  function grey() {
    const canvas = document.createElement("canvas");
    canvas.width = columns; canvas.height = rows;
    const pen = canvas.getContext("2d");
    const picture = pen.createImageData(columns, rows);
    severity.forEach((v, i) => picture.data.set([v, v, v, 255], 4 * i));
    pen.putImageData(picture, 0, 0);
    return canvas;
  }

  function keepDraft() {
    try {
      localStorage.setItem(KEPT, JSON.stringify({ find: root.dataset.find, found, map: grey().toDataURL() }));
    } catch {
      localStorage.removeItem(KEPT); // the browser's room is full: an old map must not pass for this one
    }
  }

  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    if (kept?.find === root.dataset.find) {
      const bytes = Uint8Array.from(atob(kept.map.split(",")[1]), (letter) => letter.charCodeAt(0));
      open(kept.found, new Blob([bytes], { type: "image/png" })).then(
        () => { document.getElementById("found-told").textContent = _("The map you worked on last is below as you left it."); },
        () => { step.hidden = true; localStorage.removeItem(KEPT); }, // its pictures are gone, so is the map
      );
    }
  } catch {
    localStorage.removeItem(KEPT);
  }

  function show() {
    const pen = overlay.getContext("2d");
    const picture = pen.createImageData(columns, rows);
    const values = before.getAttribute("aria-pressed") === "true" ? proposal : severity;
    let damaged = 0, corrected = false;
    for (let i = 0; i < values.length; i++) {
      const v = values[i];
      corrected ||= severity[i] !== proposal[i];
      if (v < 48) continue;
      damaged++;
      const grade = v < 112 ? 0 : v < 176 ? 1 : 2;
      const row = Math.floor(i / columns), column = i % columns;
      // Stripes, wide to dense, so that grades differ without colour too.
      const ink = grade === 2 || (row + column) % (grade === 1 ? 3 : 6) === 0;
      picture.data.set(ink ? [120, 0, 60, 255] : [255, grade ? 120 : 220, 0, grade ? 190 : 110], 4 * i);
    }
    pen.putImageData(picture, 0, 0);
    overlay.style.opacity = String(opacity.value / 100);
    undo.disabled = !history.length;
    document.getElementById("painted").textContent = _("%(area)s light or worse", { area: area(damaged / 16) }) + (corrected ? _(", corrected by hand") : "");
  }

  function dab(from, to) {
    const value = Number(document.querySelector("[name=brush]:checked").value);
    const radius = Number(document.getElementById("brush-size").value) / 2;
    const steps = Math.max(1, Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / Math.max(1, radius / 2)));
    for (let s = 0; s <= steps; s++) {
      const x = from[0] + ((to[0] - from[0]) * s) / steps, y = from[1] + ((to[1] - from[1]) * s) / steps;
      for (let r = Math.max(0, Math.floor(y - radius)); r <= Math.min(rows - 1, y + radius); r++)
        for (let c = Math.max(0, Math.floor(x - radius)); c <= Math.min(columns - 1, x + radius); c++)
          if (Math.hypot(c + 0.5 - x, r + 0.5 - y) <= radius + 0.5) severity[r * columns + c] = value;
    }
    show();
  }

  const place = (event) => {
    const box = overlay.getBoundingClientRect();
    return [((event.clientX - box.left) / box.width) * columns, ((event.clientY - box.top) / box.height) * rows];
  };
  const noting = document.getElementById("note-place");
  const note = form.elements.note;
  noting.addEventListener("click", () => noting.setAttribute("aria-pressed", String(noting.getAttribute("aria-pressed") !== "true")));
  function noteAt([column, row]) {
    const where = `at ${lengthNumber(column / 4)}, ${lengthNumber((rows - row) / 4)} ${lengthSign}: `; // the map has 4 px/mm, row 0 at the top
    note.value = note.value ? `${note.value.trimEnd()}\n${where}` : where;
    noting.setAttribute("aria-pressed", "false");
    note.focus();
    note.dispatchEvent(new Event("input", { bubbles: true }));
  }

  overlay.addEventListener("pointerdown", (event) => {
    if (!severity) return;
    if (noting.getAttribute("aria-pressed") === "true") { event.preventDefault(); noteAt(place(event)); return; }
    overlay.setPointerCapture(event.pointerId);
    begin();
    last = place(event);
    dab(last, last);
  });
  function begin() {
    before.setAttribute("aria-pressed", "false");
    history.push(severity.slice());
    if (history.length > 30) history.shift();
  }
  overlay.addEventListener("keydown", (event) => {
    const press = pressed(event);
    if (!severity || press === null) return;
    event.preventDefault();
    if (press && noting.getAttribute("aria-pressed") === "true") return noteAt(aimed);
    if (press) { begin(); dab(aimed, aimed); keepDraft(); } else { aimed = moved(aimed, event, columns / 80, [columns, rows]); show(); }
    aim();
  });
  overlay.addEventListener("blur", () => { if (severity) show(); });
  function aim() {
    const pen = overlay.getContext("2d");
    const radius = Math.max(2, Number(document.getElementById("brush-size").value) / 2);
    for (const [colour, width] of [["#fff", 3], ["#000", 1]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.arc(...aimed, radius, 0, 7);
      pen.stroke();
    }
  }
  overlay.addEventListener("pointermove", (event) => { if (last) { const at = place(event); dab(last, at); last = at; } });
  for (const end of ["pointerup", "pointercancel"]) overlay.addEventListener(end, () => { if (last) keepDraft(); last = null; });
  undo.addEventListener("click", () => { severity = history.pop() ?? severity; show(); keepDraft(); });
  before.addEventListener("click", () => { before.setAttribute("aria-pressed", String(before.getAttribute("aria-pressed") !== "true")); show(); });
  opacity.addEventListener("input", show);
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key === "z" && history.length && event.target.tagName !== "INPUT") { event.preventDefault(); undo.click(); }
  });

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const blob = await new Promise((done) => grey().toBlob(done, "image/png"));
    const files = new DataTransfer();
    files.items.add(new File([blob], "damage.png", { type: "image/png" }));
    form.elements.map.files = files.files;
    form.submit(); // past the guard against double presses, which has seen this press already
  });
}
