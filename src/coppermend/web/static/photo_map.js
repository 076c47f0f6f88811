// Reference points on a photo under a magnifier, and the damage looked for; what is found, photo_paint.js shows.
import { moved, painting, pressed } from "./photo_paint.js";
import { follow } from "./errand.js";
import { _, length } from "./words.js";

const root = document.getElementById("photo-map");
if (root) { points(); painting(root); }

function points() {
  const image = document.getElementById("photo-image");
  const marks = document.getElementById("photo-marks");
  const lens = document.getElementById("photo-lens");
  const find = document.getElementById("find");
  const back = document.getElementById("take-back");
  const told = document.getElementById("found-told");
  const bar = root.querySelector("[data-errand]");
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
      if (!words.classList.contains("suspect")) words.textContent = at ? _("pixel %(x)s, %(y)s", { x: Math.round(at.pixel[0]), y: Math.round(at.pixel[1]) }) : _("not clicked");
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

  function magnify([u, v]) {
    const ratio = image.naturalWidth / full[0];
    const pen = lens.getContext("2d");
    const reach = Math.max(20, full[0] / 60) * ratio;
    pen.clearRect(0, 0, 180, 180);
    pen.drawImage(image, (u + 0.5) * ratio - reach, (v + 0.5) * ratio - reach, 2 * reach, 2 * reach, 0, 0, 180, 180);
    pen.strokeStyle = "#fff"; pen.lineWidth = 3;
    pen.strokeRect(80, 80, 20, 20);
    pen.strokeStyle = "#000"; pen.lineWidth = 1;
    pen.beginPath(); pen.moveTo(90, 0); pen.lineTo(90, 180); pen.moveTo(0, 90); pen.lineTo(180, 90); pen.stroke();
    lens.style.left = `${u < full[0] / 2 ? marks.getBoundingClientRect().width - 190 : 5}px`; // never under the finger
    lens.hidden = false;
  }

  function put(pixel) {
    lens.hidden = true;
    const { name, x, y } = chosen.dataset;
    clicked = clicked.filter((c) => c.name !== name);
    clicked.push({ name, board_mm: [Number(x), Number(y)], pixel });
    chosen.nextElementSibling.classList.remove("suspect");
    chosen = buttons.find((b) => !clicked.some((c) => c.name === b.dataset.name)) ?? chosen;
    show();
  }

  marks.addEventListener("pointerdown", (event) => { marks.setPointerCapture(event.pointerId); magnify(toPixel(event)); });
  marks.addEventListener("pointermove", (event) => { if (event.buttons || event.pointerType === "mouse") magnify(toPixel(event)); });
  marks.addEventListener("pointerleave", () => { lens.hidden = true; });
  marks.addEventListener("pointerup", (event) => put(toPixel(event)));
  let aimed = full.map((size) => size / 2);
  marks.addEventListener("keydown", (event) => {
    const press = pressed(event);
    if (press === null) return;
    event.preventDefault();
    if (press) return put(aimed);
    aimed = moved(aimed, event, full[0] / 80, full);
    magnify(aimed);
  });
  marks.addEventListener("blur", () => { lens.hidden = true; });
  for (const button of buttons) button.addEventListener("click", () => { chosen = button; show(); });
  back.addEventListener("click", () => {
    const { name } = clicked.pop();
    chosen = buttons.find((b) => b.dataset.name === name) ?? chosen;
    show();
  });
  find.addEventListener("click", async () => {
    const side = document.querySelector("[name=photo-side]:checked").value;
    find.disabled = true;
    told.textContent = _("Sending the points");
    try {
      const sent = new FormData();
      sent.append("points", JSON.stringify(clicked));
      sent.append("side", side);
      if (document.getElementById("clicks-only").checked) sent.append("clicks_only", "1");
      const answer = await fetch(root.dataset.find, { method: "POST", body: sent, headers: { Accept: "text/event-stream" } });
      const begun = await answer.json();
      told.textContent = "";
      const found = begun.work ? await outcome(begun.work) : begun;
      if (!found) {
        told.textContent = _("Cancelled; your points are still here.");
        return;
      }
      if (found.error) {
        told.textContent = found.error;
        document.getElementById("trust").hidden = false;
        return;
      }
      for (const point of found.points) {
        const words = buttons.find((b) => b.dataset.name === point.name)?.nextElementSibling;
        if (!words) continue;
        words.textContent = _("off by %(length)s", { length: length(point.residual_mm, 2) }) + (point.suspect ? _(", looks wrong") : "");
        words.classList.toggle("suspect", point.suspect);
      }
      told.textContent = [_("Points agree to %(length)s.", { length: length(found.rms_mm, 2) }), ...found.notes].join(" ");
      root.dispatchEvent(new CustomEvent("found", { detail: { ...found, side } }));
    } catch {
      told.textContent = _("The bench did not answer; nothing is lost, try again.");
    } finally {
      bar.hidden = true;
      find.disabled = false;
    }
  });
  show();

  // What came of the work; null when it was stopped.
  async function outcome(address) {
    const { state, error } = await follow(bar, address);
    if (state === "cancelled") return null;
    return error ? { error } : (await fetch(`${address}/outcome`)).json();
  }
}

function read(key) {
  try {
    const kept = JSON.parse(sessionStorage.getItem(key));
    return Array.isArray(kept) ? kept : [];
  } catch {
    return [];
  }
}
