// Reference points on a photo under a magnifier; then the damage found, laid over the straightened photo and corrected.
const root = document.getElementById("photo-map");
if (root) { points(); painting(); }

function points() {
  const image = document.getElementById("photo-image");
  const marks = document.getElementById("photo-marks");
  const lens = document.getElementById("photo-lens");
  const find = document.getElementById("find");
  const back = document.getElementById("take-back");
  const told = document.getElementById("found-told");
  const busy = document.getElementById("busy");
  const buttons = [...document.querySelectorAll("#places button")];
  const full = [Number(root.dataset.width), Number(root.dataset.height)];
  let clicked = read(root.dataset.pointsKey);
  let chosen = buttons[0];

  // Full-size pixel (0, 0 = centre of the upper-left pixel) from a place on the picture, and back.
  const toPixel = (event) => {
    const box = image.getBoundingClientRect();
    return [((event.clientX - box.left) / box.width) * full[0] - 0.5, ((event.clientY - box.top) / box.height) * full[1] - 0.5];
  };

  function show() {
    const scale = Math.min(1, 1600 / full[0]);
    marks.width = full[0] * scale;
    marks.height = full[1] * scale;
    const pen = marks.getContext("2d");
    for (const button of buttons) {
      const at = clicked.find((c) => c.name === button.dataset.name);
      button.setAttribute("aria-pressed", String(button === chosen));
      const words = button.nextElementSibling;
      if (!words.classList.contains("suspect")) words.textContent = at ? `pixel ${Math.round(at.pixel[0])}, ${Math.round(at.pixel[1])}` : "not clicked";
      if (!at) continue;
      const [x, y] = at.pixel.map((v) => (v + 0.5) * scale);
      for (const [colour, width] of [["#fff", 5], ["#000", 2]]) {
        pen.strokeStyle = colour;
        pen.lineWidth = width;
        pen.beginPath();
        pen.arc(x, y, 12, 0, 7);
        pen.moveTo(x - 20, y); pen.lineTo(x + 20, y);
        pen.moveTo(x, y - 20); pen.lineTo(x, y + 20);
        pen.stroke();
      }
    }
    find.disabled = clicked.length < 4;
    back.disabled = !clicked.length;
    sessionStorage.setItem(root.dataset.pointsKey, JSON.stringify(clicked));
  }

  function magnify(event) {
    const [u, v] = toPixel(event);
    const ratio = image.naturalWidth / full[0];
    const pen = lens.getContext("2d");
    const reach = Math.max(20, full[0] / 60) * ratio;
    pen.clearRect(0, 0, 180, 180);
    pen.drawImage(image, (u + 0.5) * ratio - reach, (v + 0.5) * ratio - reach, 2 * reach, 2 * reach, 0, 0, 180, 180);
    pen.strokeStyle = "#fff"; pen.lineWidth = 3;
    pen.strokeRect(80, 80, 20, 20);
    pen.strokeStyle = "#000"; pen.lineWidth = 1;
    pen.beginPath(); pen.moveTo(90, 0); pen.lineTo(90, 180); pen.moveTo(0, 90); pen.lineTo(180, 90); pen.stroke();
    const box = marks.getBoundingClientRect();
    const left = event.clientX - box.left;
    lens.style.left = `${left < box.width / 2 ? box.width - 190 : 5}px`; // never under the finger
    lens.hidden = false;
  }

  marks.addEventListener("pointerdown", (event) => { marks.setPointerCapture(event.pointerId); magnify(event); });
  marks.addEventListener("pointermove", (event) => { if (event.buttons || event.pointerType === "mouse") magnify(event); });
  marks.addEventListener("pointerleave", () => { lens.hidden = true; });
  marks.addEventListener("pointerup", (event) => {
    lens.hidden = true;
    const { name, x, y } = chosen.dataset;
    clicked = clicked.filter((c) => c.name !== name);
    clicked.push({ name, board_mm: [Number(x), Number(y)], pixel: toPixel(event) });
    chosen.nextElementSibling.classList.remove("suspect");
    chosen = buttons.find((b) => !clicked.some((c) => c.name === b.dataset.name)) ?? chosen;
    show();
  });
  for (const button of buttons) button.addEventListener("click", () => { chosen = button; show(); });
  back.addEventListener("click", () => {
    const { name } = clicked.pop();
    chosen = buttons.find((b) => b.dataset.name === name) ?? chosen;
    show();
  });
  find.addEventListener("click", async () => {
    const side = document.querySelector("[name=photo-side]:checked").value;
    find.disabled = true;
    busy.hidden = false;
    told.textContent = "Laying the photo over the drawing and looking for damage…";
    try {
      const sent = new FormData();
      sent.append("points", JSON.stringify(clicked));
      sent.append("side", side);
      if (document.getElementById("clicks-only").checked) sent.append("clicks_only", "1");
      const answer = await fetch(root.dataset.find, { method: "POST", body: sent });
      const found = await answer.json();
      if (found.error) {
        told.textContent = found.error;
        document.getElementById("trust").hidden = false;
        return;
      }
      for (const point of found.points) {
        const words = buttons.find((b) => b.dataset.name === point.name)?.nextElementSibling;
        if (!words) continue;
        words.textContent = `off by ${point.residual_mm.toFixed(2)} mm${point.suspect ? ", looks wrong" : ""}`;
        words.classList.toggle("suspect", point.suspect);
      }
      told.textContent = [`Points agree to ${found.rms_mm.toFixed(2)} mm.`, ...found.notes].join(" ");
      root.dispatchEvent(new CustomEvent("found", { detail: { ...found, side } }));
    } catch {
      told.textContent = "The bench did not answer; nothing is lost, try again.";
    } finally {
      busy.hidden = true;
      find.disabled = false;
    }
  });
  show();
}

function read(key) {
  try {
    const kept = JSON.parse(sessionStorage.getItem(key));
    return Array.isArray(kept) ? kept : [];
  } catch {
    return [];
  }
}

function painting() {
  const step = document.getElementById("step-paint");
  const straight = document.getElementById("straight");
  const overlay = document.getElementById("overlay");
  const form = document.getElementById("keep-map");
  const undo = document.getElementById("undo");
  const before = document.getElementById("before");
  const opacity = document.getElementById("opacity");
  let rows = 0, columns = 0, severity = null, proposal = null, history = [], last = null;

  root.addEventListener("found", async ({ detail }) => {
    const { map, straight: picture, side, ...rest } = detail;
    ({ rows, columns } = detail);
    const image = new Image();
    image.src = `/attachments/${map}`;
    straight.src = `/attachments/${picture}`;
    await image.decode();
    overlay.width = columns; overlay.height = rows;
    const pen = overlay.getContext("2d", { willReadFrequently: true });
    pen.drawImage(image, 0, 0);
    const data = pen.getImageData(0, 0, columns, rows).data;
    proposal = Uint8Array.from({ length: rows * columns }, (_, i) => data[4 * i]);
    severity = proposal.slice();
    history = [];
    form.elements.proposed.value = map;
    form.elements.side.value = side;
    form.elements.registration.value = JSON.stringify({ pixel_to_mm: rest.pixel_to_mm, camera: rest.camera, rms_mm: rest.rms_mm });
    step.hidden = false;
    show();
    step.scrollIntoView({ behavior: "smooth" });
  });

  function show() {
    const pen = overlay.getContext("2d");
    const picture = pen.createImageData(columns, rows);
    const values = before.getAttribute("aria-pressed") === "true" ? proposal : severity;
    let damaged = 0;
    for (let i = 0; i < values.length; i++) {
      const v = values[i];
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
    document.getElementById("painted").textContent = `${Math.round(damaged / 16)} mm² light or worse${history.length ? ", corrected by hand" : ""}`;
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
    const where = `at ${(column / 4).toFixed(0)}, ${((rows - row) / 4).toFixed(0)} mm: `; // the map has 4 px/mm, row 0 at the top
    note.value = note.value ? `${note.value.trimEnd()}\n${where}` : where;
    noting.setAttribute("aria-pressed", "false");
    note.focus();
    note.dispatchEvent(new Event("input", { bubbles: true }));
  }

  overlay.addEventListener("pointerdown", (event) => {
    if (!severity) return;
    if (noting.getAttribute("aria-pressed") === "true") { event.preventDefault(); noteAt(place(event)); return; }
    overlay.setPointerCapture(event.pointerId);
    before.setAttribute("aria-pressed", "false");
    history.push(severity.slice());
    if (history.length > 30) history.shift();
    last = place(event);
    dab(last, last);
  });
  overlay.addEventListener("pointermove", (event) => { if (last) { const at = place(event); dab(last, at); last = at; } });
  overlay.addEventListener("pointerup", () => { last = null; });
  overlay.addEventListener("pointercancel", () => { last = null; });
  undo.addEventListener("click", () => { severity = history.pop() ?? severity; show(); });
  before.addEventListener("click", () => { before.setAttribute("aria-pressed", String(before.getAttribute("aria-pressed") !== "true")); show(); });
  opacity.addEventListener("input", show);
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key === "z" && history.length && event.target.tagName !== "INPUT") { event.preventDefault(); undo.click(); }
  });

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const canvas = document.createElement("canvas");
    canvas.width = columns; canvas.height = rows;
    const pen = canvas.getContext("2d");
    const picture = pen.createImageData(columns, rows);
    severity.forEach((v, i) => picture.data.set([v, v, v, 255], 4 * i));
    pen.putImageData(picture, 0, 0);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/png"));
    const files = new DataTransfer();
    files.items.add(new File([blob], "damage.png", { type: "image/png" }));
    form.elements.map.files = files.files;
    form.submit(); // past the guard against double presses, which has seen this press already
  });
}
