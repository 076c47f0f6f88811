// The words of scripts in the language of the page. They are written here in English; other languages come with the page.
const held = document.getElementById("script-words");
const words = held ? JSON.parse(held.textContent) : {};

// Lengths as the shop has them shown, and areas; all is worked out in mm. Digits are those of mm.
const UNITS = { mm: [1, 0, "mm"], inch: [1 / 25.4, 2, "in"], mil: [1000 / 25.4, 0, "mil"] };
const [perMm, further, sign] = UNITS[document.body.dataset.units] ?? UNITS.mm;
const point = document.body.dataset.point ?? ".";
const number = (value, digits) => value.toFixed(digits).replace(".", point);

export const length = (mm, digits = 0) => `${lengthNumber(mm, digits)} ${sign}`;
export const lengthNumber = (mm, digits = 0) => number(mm * perMm, further + (sign === "mil" ? 0 : digits));
export const area = (mm2) => (sign === "mm" ? `${number(mm2, 0)} mm²` : `${number(mm2 / 25.4 ** 2, 2)} in²`);
export const lengthSign = sign;

// A message with its placeholders, %(name)s, filled in.
export function _(message, values = {}) {
  return (words[message] ?? message).replace(/%\((\w+)\)s/g, (whole, name) => values[name] ?? whole);
}
