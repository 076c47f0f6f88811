// What was typed into a form and is not kept yet outlives a closed tab, an empty battery, a refusal, a lost connection.
//
// `data-draft` names a form, or one field; each keeps what differs from what the bench gave, until the bench says that
// it is kept. It comes back only where the bench still gives what it gave then: it never undoes what others kept since.
import { _ } from "./words.js";

const SENT = "typed:sent"; // of this tab: the form whose answer is awaited
const NEVER = ["hidden", "file", "password", "submit", "button"];
const refused = document.getElementById("error") !== null;

const isTick = (field) => field.type === "checkbox" || field.type === "radio";
const nameOf = (field) => (isTick(field) ? `${field.name}=${field.value}` : field.name);
const read = (field) => (isTick(field) ? field.checked : field.value);
function write(field, value) {
  if (isTick(field)) field.checked = value;
  else field.value = value;
}
// A tick that is required says that one is sure: it is given anew each time.
const isKept = (field) => field.name && field.matches("input, textarea, select") && !NEVER.includes(field.type) && !(isTick(field) && field.required);

function startDraft(holder) {
  const key = `typed:${holder.dataset.draft}`, form = holder.form ?? holder;
  const fields = [...(holder.elements ?? [holder])].filter(isKept);
  const draft = new Map(Object.entries(JSON.parse(localStorage.getItem(key) ?? "{}"))); // name -> [given, typed]
  const save = () => (draft.size ? localStorage.setItem(key, JSON.stringify(Object.fromEntries(draft))) : localStorage.removeItem(key));

  const given = new Map(fields.map((field) => [field, refused ? (draft.get(nameOf(field))?.[0] ?? read(field)) : read(field)]));
  const back = refused ? [] : fields.filter((field) => draft.get(nameOf(field))?.[0] === read(field));
  for (const field of back) write(field, draft.get(nameOf(field))[1]);
  if (!refused) {
    const names = new Set(back.map(nameOf));
    for (const name of [...draft.keys()]) if (!names.has(name)) draft.delete(name);
    save();
  }
  if (back.length) say(form, holder, () => {
    for (const field of fields) write(field, given.get(field));
    draft.clear();
    save();
  });

  form.addEventListener("input", (event) => {
    for (const field of fields) {
      if (field.type !== "radio" && field !== event.target) continue; // choosing one takes the choice from another
      if (read(field) === given.get(field)) draft.delete(nameOf(field));
      else draft.set(nameOf(field), [given.get(field), read(field)]);
    }
    save();
  });
  form.addEventListener("submit", () => sessionStorage.setItem(SENT, key));
}

function say(form, holder, empty) {
  const line = document.createElement("p"), button = document.createElement("button");
  line.className = "meta typed-back";
  line.append(_("What you had typed here is back."), " ", button);
  button.type = "button";
  button.className = "small";
  button.textContent = _("Take it away");
  button.addEventListener("click", () => { empty(); line.remove(); });
  if (holder === form) form.prepend(line);
  else holder.closest(".field").after(line);
  for (let fold = form.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
}

// `kept`: whether the address says that the bench kept what was sent last.
export function startDrafts(kept) {
  const sent = sessionStorage.getItem(SENT);
  if (kept && sent) localStorage.removeItem(sent);
  if (kept) sessionStorage.removeItem(SENT);
  for (const holder of document.querySelectorAll("[data-draft]")) startDraft(holder);
}
