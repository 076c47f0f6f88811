// Drawing a board in. One state, one undo stack; the server draws it and looks it over after each change.
import { _ } from "./words.js";

const KEY = "draft-board", GRID_MM = 1.27, FINE_MM = 0.254, REACH_MM = 3;
const at = (id) => document.getElementById(id);
const NS = "http://www.w3.org/2000/svg";
const sheet = at("draft-board"), says = at("draft-says");
const FIELDS = { type: at("d-type"), refdes: at("d-refdes"), value: at("d-value"), package: at("d-package"), section: at("d-section") };
const TYPES = new Map([...at("d-types").options].map((o) => [o.value.toUpperCase(), o.dataset]));

let state = { name: "", width_mm: 200, height_mm: 150, nets: "", rails: "", parts: [], waiting: [] };
try {
  state = { ...state, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
} catch {
  localStorage.removeItem(KEY);
}
const past = [], future = [];
let side = "top", mode = "place", chosen = null, drawn = null;
let photo = null; // {url, width, height, corners: [[u, v], [u, v]]} in pixels: lower left, upper right

function change(alter) {
  past.push(JSON.stringify(state));
  if (past.length > 300) past.shift();
  future.length = 0;
  alter();
  changed();
}
function step(from, to) {
  if (!from.length) return;
  to.push(JSON.stringify(state));
  state = JSON.parse(from.pop());
  if (!part()) chosen = null;
  changed();
}
function changed() {
  localStorage.setItem(KEY, JSON.stringify(state));
  at("draft-undo").disabled = !past.length;
  at("draft-redo").disabled = !future.length;
  for (const input of document.querySelectorAll("[data-board]"))
    if (input !== document.activeElement) input.value = state[input.dataset.board];
  list();
  look();
}
const part = (refdes = chosen) => state.parts.find((p) => p.refdes === refdes);

// The server's view: drawing, pins, findings. Only the last question's answer counts.
let asking = null, waiting = 0;
function look() {
  clearTimeout(waiting);
  waiting = setTimeout(async () => {
    asking?.abort();
    asking = new AbortController();
    try {
      const answer = await fetch("/boards/draft/look", {
        method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(state), signal: asking.signal,
      });
      found(await answer.json());
    } catch (error) {
      if (error.name !== "AbortError") say(_("The bench does not answer; what you drew is kept in this browser."));
    }
  }, 120);
}
function found(answer) {
  const items = answer.error ? [{ severity: "error", message: answer.error }] : answer.findings;
  at("draft-findings").replaceChildren(
    ...(items.length ? items : [{ severity: "note", message: _("nothing to object to") }]).slice(0, 40).map((f) => {
      const line = document.createElement("li");
      line.className = f.severity;
      line.textContent = `${f.severity}: ${f.message}`;
      return line;
    }),
  );
  if (answer.error) return;
  drawn = answer;
  show();
}

function show() {
  if (photo && !photo.corners[1]) return showPhoto();
  if (!drawn) return;
  sheet.innerHTML = drawn.svg[side];
  const svg = sheet.querySelector("svg");
  underlay(svg);
  for (const name of pinsOf(at("d-net").value.trim())) mark(svg, name, "var(--rust)");
  const held = chosen && [...svg.querySelectorAll(`[data-refdes="${CSS.escape(chosen)}"]`)];
  for (const piece of held ?? []) {
    const box = piece.getBBox();
    svg.append(shape("rect", { x: box.x - 0.8, y: box.y - 0.8, width: box.width + 1.6, height: box.height + 1.6, fill: "none", stroke: "var(--focus)", "stroke-width": 0.6, "stroke-dasharray": "1.5 1" }));
  }
  fill(at("d-nets"), [...nets().keys()]);
  fill(at("d-pins"), drawn.pins.map(([name]) => name));
}
function shape(kind, settings) {
  const made = document.createElementNS(NS, kind);
  for (const [name, value] of Object.entries(settings)) made.setAttribute(name, value);
  made.style.pointerEvents = "none";
  return made;
}
const across = (x) => (side === "top" ? x : state.width_mm - x);
function mark(svg, name, colour) {
  const pin = drawn.pins.find(([known]) => known === name);
  if (pin) svg.append(shape("circle", { cx: across(pin[1]), cy: state.height_mm - pin[2], r: 1.3, fill: "none", stroke: colour, "stroke-width": 0.6 }));
}
function underlay(svg) {
  if (!photo) return;
  const [[left, low], [right, high]] = photo.corners;
  const sx = state.width_mm / (right - left), sy = state.height_mm / (low - high);
  const image = shape("image", {
    href: photo.url, x: -left * sx, y: -high * sy, width: photo.width * sx, height: photo.height * sy,
    preserveAspectRatio: "none", opacity: at("draft-fade").value / 100,
  });
  if (side === "bottom") image.setAttribute("transform", `translate(${state.width_mm} 0) scale(-1 1)`);
  svg.querySelector("g").after(image);
}
function showPhoto() {
  const image = new Image();
  image.src = photo.url;
  image.alt = _("The photo");
  image.style.cssText = "display:block;max-width:100%;max-height:inherit";
  sheet.replaceChildren(image);
  say(photo.corners[0] ? _("Now tap the board's upper right corner.") : _("Tap the board's lower left corner on the photo."));
}
function fill(datalist, names) {
  datalist.replaceChildren(...names.map((name) => Object.assign(document.createElement("option"), { value: name })));
}
function say(text) {
  says.textContent = text;
}

// Parts
function nextRefdes(type) {
  const prefix = TYPES.get(type.toUpperCase())?.prefix ?? "U";
  let n = 1;
  while (part(`${prefix}${n}`) || state.waiting.some((w) => w.refdes === `${prefix}${n}`)) n += 1;
  return `${prefix}${n}`;
}
const snap = (mm) => Math.round(Math.round(mm / GRID_MM) * GRID_MM * 1000) / 1000;
function place(x, y) {
  const queued = state.waiting[0];
  const type = queued?.type ?? FIELDS.type.value.trim();
  if (!type && !FIELDS.refdes.value.trim()) return say(_("Say first what to place: a type, such as resistor or 6502."));
  const typed = FIELDS.refdes.value.trim();
  const refdes = queued?.refdes ?? (typed && !part(typed) ? typed : nextRefdes(type));
  change(() => {
    if (queued) state.waiting.shift();
    state.parts.push({
      refdes, type, value: queued?.value ?? FIELDS.value.value.trim(), x_mm: snap(x), y_mm: snap(y), side,
      rotation_deg: part()?.type === type ? part().rotation_deg : 0,
      package: (queued ? "" : FIELDS.package.value.trim()) || TYPES.get(type.toUpperCase())?.package || "",
      section: FIELDS.section.value.trim(),
    });
    choose(refdes);
  });
  const next = state.waiting[0];
  say(_("%(refdes)s is placed.", { refdes }) + " " + (next ? _("Next of the list: %(refdes)s.", { refdes: next.refdes }) : _("The next tap places another %(type)s.", { type })));
}
function choose(refdes) {
  chosen = refdes;
  at("draft-remove").disabled = !refdes;
  const held = part();
  if (held) for (const [name, input] of Object.entries(FIELDS)) input.value = held[name] ?? "";
}
function move(dx, dy) {
  if (part()) change(() => { part().x_mm = round(part().x_mm + dx); part().y_mm = round(part().y_mm + dy); });
}
const round = (mm) => Math.round(mm * 1000) / 1000;
function rotate() {
  if (part()) change(() => (part().rotation_deg = (part().rotation_deg + 90) % 360));
}
function remove() {
  if (!part()) return;
  say(_("%(refdes)s is taken away; its pins stay in the nets until you take them out. Undo brings it back.", { refdes: chosen }));
  change(() => { state.parts = state.parts.filter((p) => p.refdes !== chosen); choose(null); });
}
for (const [name, input] of Object.entries(FIELDS)) {
  input.addEventListener("focus", () => setMode("place"));
  input.addEventListener("change", () => {
    const held = part(), value = input.value.trim();
    if (name === "type") {
      const known = TYPES.get(value.toUpperCase());
      if (known) FIELDS.package.value = known.package;
      if (held?.type !== value) { chosen = null; at("draft-remove").disabled = true; FIELDS.refdes.value = nextRefdes(value); FIELDS.value.value = ""; }
      return;
    }
    if (!held || held[name] === value) return;
    if (name === "refdes" && (!value || part(value))) return say(value ? _("%(name)s is there already.", { name: value }) : _("A part needs a refdes."));
    change(() => {
      held[name] = value;
      if (name !== "refdes") return;
      state.nets = state.nets.replaceAll(new RegExp(`(^|[\\s:,])${chosen.replace(/[^\w]/g, "\\$&")}\\.`, "gm"), `$1${value}.`);
      chosen = value;
    });
  });
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    input.dispatchEvent(new Event("change"));
    if (part() && !state.waiting.length) return sheet.focus();
    const last = state.parts.at(-1);
    const x = last ? last.x_mm + 12.7 : 12.7;
    place(x < state.width_mm - 5 ? x : 12.7, x < state.width_mm - 5 ? (last?.y_mm ?? state.height_mm - 12.7) : last.y_mm - 12.7);
    sheet.focus();
  });
}

// Nets
function nets() {
  const found = new Map();
  for (const line of state.nets.split("\n")) {
    const [name, pins] = line.split("#")[0].split(":");
    if (pins !== undefined && name.trim()) found.set(name.trim(), [...(found.get(name.trim()) ?? []), ...pins.split(/[\s,]+/).filter(Boolean)]);
  }
  return found;
}
const pinsOf = (net) => nets().get(net) ?? [];
function toggle(net, pin) {
  const all = nets(), other = [...all].find(([name, pins]) => name !== net && pins.includes(pin));
  if (other) return say(_("%(pin)s is on %(net)s already.", { pin, net: other[0] }));
  const pins = all.get(net) ?? [], there = pins.includes(pin);
  all.set(net, there ? pins.filter((p) => p !== pin) : [...pins, pin]);
  change(() => (state.nets = [...all].map(([name, own]) => `${name}: ${own.join(" ")}`).join("\n")));
  say(there ? _("%(pin)s is off %(net)s.", { pin, net }) : _("%(pin)s is on %(net)s.", { pin, net }));
}
at("d-net").addEventListener("input", show);
for (const id of ["d-net", "d-pin"]) at(id).addEventListener("focus", () => setMode("net"));
at("d-net").addEventListener("keydown", (event) => {
  if (event.key === "Enter") { event.preventDefault(); at("d-pin").focus(); }
});
at("d-pin").addEventListener("keydown", (event) => {
  if (event.key !== "Enter") return;
  event.preventDefault();
  const net = at("d-net").value.trim(), pin = at("d-pin").value.trim();
  if (!net) return say(_("Which net? Type its name first."));
  if (!drawn?.pins.some(([known]) => known === pin)) return say(_("No part has a pin %(pin)s.", { pin: pin || "?" }));
  toggle(net, pin);
  at("d-pin").value = "";
});

function setMode(wanted) {
  mode = wanted;
  at("draft-place").setAttribute("aria-pressed", String(mode === "place"));
}

// The drawing, by finger and by keys
sheet.addEventListener("click", (event) => {
  if (photo && !photo.corners[1]) return corner(event);
  const svg = sheet.querySelector("svg");
  if (!svg) return;
  const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const x = across(spot.x), y = state.height_mm - spot.y;
  const near = drawn.pins.map(([name, px, py]) => [Math.hypot(px - x, py - y), name]).sort((a, b) => a[0] - b[0])[0];
  const net = at("d-net").value.trim();
  if (mode === "net" && net) {
    if (near && near[0] <= REACH_MM) toggle(net, near[1]);
    else say(_("No pin is near."));
    return;
  }
  const hit = event.target.closest("[data-refdes]")?.dataset.refdes ?? (near && near[0] < 1.2 ? near[1].slice(0, near[1].lastIndexOf(".")) : null);
  if (hit && part(hit)) {
    choose(hit);
    say(_("%(refdes)s is chosen: arrows move it, R turns it.", { refdes: hit }));
    return show();
  }
  if (x < 0 || y < 0 || x > state.width_mm || y > state.height_mm) return say(_("That is off the board."));
  place(x, y);
});
function corner(event) {
  const box = sheet.querySelector("img").getBoundingClientRect();
  const spot = [((event.clientX - box.left) / box.width) * photo.width, ((event.clientY - box.top) / box.height) * photo.height];
  if (photo.corners[0] && (spot[0] <= photo.corners[0][0] || spot[1] >= photo.corners[0][1])) return say(_("The upper right corner lies right of and above the lower left one."));
  photo.corners.push(spot);
  if (photo.corners[1]) { say(_("The photo lies under the drawing.")); show(); } else showPhoto();
}
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
sheet.addEventListener("keydown", (event) => {
  const to = STEPS[event.key], grid = event.shiftKey ? FINE_MM : GRID_MM;
  if (to) move((side === "top" ? 1 : -1) * to[0] * grid, to[1] * grid);
  else if (event.key.toLowerCase() === "r" && !event.ctrlKey) rotate();
  else if (event.key === "Delete" || event.key === "Backspace") remove();
  else return;
  event.preventDefault();
});
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.closest("input, textarea")) return;
  if (event.key.toLowerCase() === "z") { event.preventDefault(); event.shiftKey ? step(future, past) : step(past, future); }
});
at("draft-undo").addEventListener("click", () => step(past, future));
at("draft-redo").addEventListener("click", () => step(future, past));
at("draft-rotate").addEventListener("click", rotate);
at("draft-remove").addEventListener("click", remove);
at("draft-place").addEventListener("click", () => { setMode("place"); choose(null); say(_("The next tap on the board places a part.")); show(); });
at("draft-turn").addEventListener("click", () => {
  side = side === "top" ? "bottom" : "top";
  at("draft-turn").setAttribute("aria-pressed", String(side === "bottom"));
  show();
});
at("draft-fade").addEventListener("input", show);
at("d-photo").addEventListener("change", () => {
  const [file] = at("d-photo").files;
  if (!file) return;
  const image = new Image();
  image.onload = () => { photo = { url: image.src, width: image.naturalWidth, height: image.naturalHeight, corners: [] }; showPhoto(); };
  image.onerror = () => say(_("This browser cannot show that picture; choose a JPEG, PNG or WebP."));
  image.src = URL.createObjectURL(file);
});

// Board fields, parts list, table
for (const input of document.querySelectorAll("[data-board]")) {
  const key = input.dataset.board, number = key.endsWith("_mm");
  input.addEventListener("change", () => {
    const value = number ? Number(input.value.replace(",", ".")) : input.value;
    if (number && !(value > 0 && value <= 1000)) return say(_("%(length)s is no length in mm.", { length: input.value }));
    if (state[key] !== value) change(() => (state[key] = value));
  });
}
at("draft-list").addEventListener("click", () => {
  const rows = at("d-list").value.split("\n").map((line) => line.split(/[,;\t]/).map((cell) => cell.trim())).filter(([refdes]) => refdes && refdes.toLowerCase() !== "refdes");
  const fresh = rows.filter(([refdes]) => !part(refdes) && !state.waiting.some((w) => w.refdes === refdes));
  if (!fresh.length) return say(_("The list names no part that is not there yet."));
  change(() => state.waiting.push(...fresh.map(([refdes, type = "", value = ""]) => ({ refdes, type, value }))));
  at("d-list").value = "";
  setMode("place");
  say(_("Parts to place: %(count)s. Tap where %(refdes)s sits.", { count: fresh.length, refdes: state.waiting[0].refdes }));
});
function list() {
  at("draft-count").textContent = _("%(count)s placed", { count: state.parts.length }) + (state.waiting.length ? _(", %(count)s to place", { count: state.waiting.length }) : "");
  at("draft-parts").tBodies[0].replaceChildren(
    ...state.parts.map((p) => {
      const row = document.createElement("tr"), cell = row.insertCell(), press = document.createElement("button");
      press.type = "button";
      press.textContent = `${p.refdes}  ${p.type}  ${p.value}`.trim();
      press.addEventListener("click", () => { choose(p.refdes); setMode("place"); show(); sheet.focus(); });
      cell.append(press);
      return row;
    }),
  );
}
at("draft-keep").addEventListener("submit", () => {
  at("draft-keep").elements.draft.value = JSON.stringify(state);
});
changed();
