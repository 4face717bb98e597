// The body is drawn again as soon as its class or a measure changes.
const form = document.getElementById("new");
const figure = document.getElementById("drawn");
const picture = figure.querySelector("img");
let waiting;

function draw() {
  const typed = new FormData(form);
  const body = typed.get("body");
  if (!body) return;
  const sizes = new URLSearchParams();
  for (const name of ["length", "width", "height", "wheelbase"]) {
    if (typed.get(name)) sizes.set(name, typed.get(name));
  }
  picture.src = `/draw/${body}.svg?${sizes}`;
  figure.hidden = false;
}
form.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(draw, 250);
});
draw();
