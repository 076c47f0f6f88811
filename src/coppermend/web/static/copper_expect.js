// Two points tapped on the drawing are asked for at once: the first goes to A, the second to B, a third starts anew.
// A finger is wider than a pad: the nearest point within reach of the tap is meant.
const REACH_MM = 3;
const form = document.getElementById("expect-form");
const [a, b] = [document.getElementById("expect-a"), document.getElementById("expect-b")];
let fresh = true;

function nearest(svg, [x, y]) {
  let found = "";
  let least = REACH_MM;
  for (const pad of svg.querySelectorAll("[data-point]")) {
    if (pad.closest(".overlays")) continue;
    const box = pad.getBBox();
    const away = Math.hypot(box.x + box.width / 2 - x, box.y + box.height / 2 - y);
    if (away < least) [found, least] = [pad.dataset.point, away];
  }
  return found;
}

document.querySelector("[data-drawing]")?.addEventListener("drawing-ready", ({ detail: sheet }) => {
  sheet.svg.addEventListener("board-tap", (event) => {
    const point = nearest(sheet.svg, sheet.inPicture(event.detail));
    if (!point) return;
    if (fresh) [a.value, b.value, fresh] = [point, "", false];
    else if (point !== a.value) {
      b.value = point;
      form.requestSubmit();
    }
  });
});
