// Image pages: files dropped anywhere on a form land in its field; several files can be put in order before sending.
import { _ } from "./words.js";

for (const area of document.querySelectorAll("[data-drop]")) {
  const input = area.querySelector("input[type=file]");
  const over = (on) => (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    area.classList.toggle("over", on);
  };
  area.addEventListener("dragover", over(true));
  area.addEventListener("dragleave", over(false));
  area.addEventListener("drop", (event) => {
    over(false)(event);
    if (!event.dataTransfer?.files.length) return;
    const files = [...(input.multiple ? input.files : []), ...event.dataTransfer.files];
    put(input, input.multiple ? files : files.slice(0, 1));
  });
}

function put(input, files) {
  const made = new DataTransfer();
  for (const file of files) made.items.add(file);
  input.files = made.files;
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

for (const input of document.querySelectorAll("[data-order]")) {
  const list = document.createElement("ol");
  list.className = "file-order";
  input.after(list);
  input.addEventListener("change", () => show(input, list));
}

// The first of two images is the one to trust, so their order counts.
function show(input, list) {
  const files = [...input.files];
  list.replaceChildren(...files.map((file, at) => {
    const row = document.createElement("li");
    const name = document.createElement("span");
    name.textContent = _("%(name)s, %(size)s bytes", { name: file.name, size: file.size.toLocaleString(document.documentElement.lang) });
    row.append(name);
    if (at) row.append(press(_("Up"), _("Move %(name)s up", { name: file.name }), () => put(input, moved(files, at))));
    row.append(press(_("Remove"), _("Remove %(name)s", { name: file.name }), () => put(input, files.filter((_, n) => n !== at))));
    return row;
  }));
}

function press(words, label, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "small plain";
  button.textContent = words;
  button.setAttribute("aria-label", label);
  button.addEventListener("click", act);
  return button;
}

function moved(files, at) {
  const made = [...files];
  [made[at - 1], made[at]] = [made[at], made[at - 1]];
  return made;
}
