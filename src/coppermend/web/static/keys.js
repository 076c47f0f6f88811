// Pages by keys. When a page comes back after a form was sent, the keys go on where they were; a refusal stands at the form
// that it is about; Control and Z take back what the notice tells of; Enter in a field does not choose between two answers.

const SENT = "keys:sent", LAST = "keys:last"; // both of this tab
const PASSING = ["next", "seq"]; // hidden fields that differ from page to page
const FIELDS = "input:not([type=hidden], [type=radio], [type=checkbox], [type=file]), select, textarea";

let keys = sessionStorage.getItem(LAST) === "1";
function used(now) {
  if (now !== keys) sessionStorage.setItem(LAST, now ? "1" : "0");
  keys = now;
}
addEventListener("keydown", () => used(true), true);
addEventListener("pointerdown", () => used(false), true);

// Whether what was done last was done by a key.
export const byKeys = () => keys;

// Keys that do something by one character alone can be switched off on this device, for people who speak to it or whose hand
// strays (WCAG 2.2, 2.1.4).
const SINGLE = "keys:single";
export const singleKeys = () => localStorage.getItem(SINGLE) !== "off";

function startSingleKeys() {
  const button = document.getElementById("single-keys");
  if (!button) return;
  const show = () => {
    for (const state of button.querySelectorAll("b")) state.hidden = (state.dataset.state === "on") !== singleKeys();
  };
  button.addEventListener("click", () => {
    singleKeys() ? localStorage.setItem(SINGLE, "off") : localStorage.removeItem(SINGLE);
    show();
  });
  button.hidden = false;
  show();
}
startSingleKeys();

const actionOf = (form) => form.getAttribute("action")?.split("?")[0] ?? "";
const markOf = (form) => {
  const hidden = [...form.elements].filter((one) => one.type === "hidden" && !PASSING.includes(one.name));
  return [actionOf(form), ...hidden.map((one) => `${one.name}=${one.value}`)].join("\n");
};
const placeOf = (hash) => decodeURIComponent(hash.slice(1));
const isSeen = (element) => element.checkVisibility() && !element.disabled;
const isAnswer = (element) => element.matches("button, [type=submit], [type=radio], [type=checkbox]");

document.addEventListener("submit", ({ target: form, submitter, defaultPrevented }) => {
  if (defaultPrevented) return;
  const held = form.contains(document.activeElement) ? document.activeElement : submitter;
  const control = held && { at: [...form.elements].indexOf(held), name: held.name, answer: isAnswer(held) && held.value, tick: held.matches(".tick-box") };
  sessionStorage.setItem(SENT, JSON.stringify({ page: location.pathname, action: actionOf(form), mark: markOf(form), place: placeOf(location.hash), control }));
});

function held(form, { at, name, answer }) {
  const fits = (one) => one && one.name === name && (answer === false || (isAnswer(one) && one.value === answer)) && isSeen(one);
  const all = [...form.elements];
  return fits(all[at]) ? all[at] : name ? all.find(fits) : undefined;
}

function refusedAt(form, control, error) {
  for (let fold = form.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  const was = control && held(form, control);
  const field = was && !isAnswer(was) ? was : ([...form.querySelectorAll(FIELDS)].find(isSeen) ?? was);
  if (!field) return;
  (field.closest("form > *, .field, .buttons, .answers") ?? field).before(error);
  field.setAttribute("aria-describedby", [field.getAttribute("aria-describedby"), error.id].filter(Boolean).join(" "));
  if (keys) field.focus();
  error.scrollIntoView({ block: "nearest" });
}

// A page whose address names a place puts the keys there once it is shown (HTML, scrolling to a fragment), whatever had the focus.
function afterPlace(go) {
  addEventListener("load", () => requestAnimationFrame(() => setTimeout(go)));
}

// A list to tick goes on with what is below; after the last, with the next stage.
function tickNext() {
  const done = document.getElementById(placeOf(location.hash));
  const boxes = [...document.querySelectorAll(".tick-box")];
  const below = boxes.find((box) => done && done.compareDocumentPosition(box) & Node.DOCUMENT_POSITION_FOLLOWING);
  (below ?? boxes[0] ?? document.querySelector(".go-on button"))?.focus();
}

// `kept`: whether the address says that the bench kept what was sent last.
export function startKeys(kept) {
  const sent = JSON.parse(sessionStorage.getItem(SENT) ?? "null");
  sessionStorage.removeItem(SENT);
  const error = document.getElementById("error");
  if (!sent || !(error || (kept && keys && sent.page === location.pathname))) return;
  const forms = [...document.forms];
  const form = forms.find((one) => markOf(one) === sent.mark) ?? (error && forms.find((one) => actionOf(one) === sent.action));
  if (error) {
    if (form) refusedAt(form, sent.control, error);
  } else if (sent.action.endsWith("/void")) document.getElementById(sent.place)?.querySelector(".tick-box")?.focus();
  else if (sent.control?.tick) afterPlace(tickNext);
  else if (form && sent.control && !location.hash) held(form, sent.control)?.focus();
}

const isWritten = (element) => element.matches("input, textarea, [contenteditable]") && !isAnswer(element) && element.value !== element.defaultValue;

document.addEventListener("keydown", (event) => {
  const { target, key } = event;
  if (key === "Enter" && event.repeat && isAnswer(target)) event.preventDefault(); // a held key presses once
  else if (key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey && !event.repeat && !isWritten(target)) {
    const undo = document.querySelector("#notice form");
    if (!undo) return;
    event.preventDefault();
    undo.requestSubmit();
  } else if (key === "Enter" && target.matches("input") && !isAnswer(target) && target.form) {
    // A form whose first button is switched off has no answer of its own (HTML, implicit submission): on to its answers.
    const answers = [...target.form.elements].filter((one) => one.type === "submit");
    if (!answers[0]?.disabled) return;
    event.preventDefault(); // else the answer that has the focus now would hear the rest of this press
    answers.find(isSeen)?.focus();
  }
});
