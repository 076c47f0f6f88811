// The words of scripts in the language of the page. They are written here in English; other languages come with the page.
const held = document.getElementById("script-words");
const words = held ? JSON.parse(held.textContent) : {};

// A message with its placeholders, %(name)s, filled in.
export function _(message, values = {}) {
  return (words[message] ?? message).replace(/%\((\w+)\)s/g, (whole, name) => values[name] ?? whole);
}
