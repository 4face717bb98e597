// Trace a panel's outline on a photo: four corners of a rectangle of known size give the plane,
// points round the panel become millimetres in it.

const MM = { mm: 1, cm: 10, m: 1000, in: 25.4, '"': 25.4, ft: 304.8 };
const length = (text) => {
  const found = /^\s*([\d.,]+)\s*(mm|cm|m|in|"|ft)?\s*$/.exec(text);
  return found ? Number(found[1].replace(",", ".")) * MM[found[2] ?? "mm"] : NaN;
};

// The projective map from photo to plane: eight unknowns from four pairs of points.
export function plane(corners, width, height) {
  const goal = [[0, 0], [width, 0], [width, height], [0, height]];
  const rows = [];
  corners.forEach(([x, y], i) => {
    const [u, v] = goal[i];
    rows.push([x, y, 1, 0, 0, 0, -u * x, -u * y, u], [0, 0, 0, x, y, 1, -v * x, -v * y, v]);
  });
  for (let k = 0; k < 8; k += 1) {
    const best = rows.slice(k).reduce((m, row, i) => (Math.abs(row[k]) > Math.abs(rows[m][k]) ? k + i : m), k);
    [rows[k], rows[best]] = [rows[best], rows[k]];
    for (let i = 0; i < 8; i += 1) {
      if (i === k) continue;
      const share = rows[i][k] / rows[k][k];
      for (let j = k; j < 9; j += 1) rows[i][j] -= share * rows[k][j];
    }
  }
  const h = rows.map((row, k) => row[8] / row[k]);
  return ([x, y]) => {
    const w = h[6] * x + h[7] * y + 1;
    return [(h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w];
  };
}

// Corners in any order of tapping: counter-clockwise from the lower left, as the panel is seen.
export function inOrder(corners) {
  const mid = corners.reduce(([a, b], [x, y]) => [a + x / 4, b + y / 4], [0, 0]);
  const turned = [...corners].sort((p, q) => Math.atan2(mid[1] - p[1], p[0] - mid[0]) - Math.atan2(mid[1] - q[1], q[0] - mid[0]));
  return turned; // from the third quadrant round: lower left, lower right, upper right, upper left
}

for (const form of document.querySelectorAll("form[data-trace]")) {
  const canvas = form.querySelector("canvas");
  const pen = canvas.getContext("2d");
  const say = form.querySelector("[data-say]");
  const out = form.querySelector("[data-points]");
  const photo = new Image();
  const points = [];
  let held = -1;

  function write() {
    say.textContent =
      points.length < 4 ? form.dataset.corners : points.length < 7 ? form.dataset.outline : form.dataset.ready.replace("{n}", points.length - 4);
    if (points.length < 7) return;
    const [width, height] = ["rect-width", "rect-height"].map((name) => length(form.elements[name].value));
    if (!(width > 0 && height > 0)) return;
    const map = plane(inOrder(points.slice(0, 4)), width, height);
    const traced = points.slice(4).map(map);
    const low = [0, 1].map((axis) => Math.min(...traced.map((p) => p[axis])));
    out.value = JSON.stringify(traced.map((p) => p.map((value, axis) => Math.round(10 * (value - low[axis])) / 10)));
  }

  function draw() {
    pen.drawImage(photo, 0, 0);
    const size = canvas.width / 60;
    const line = (part, colour) => {
      pen.strokeStyle = colour;
      pen.lineWidth = size / 3;
      pen.beginPath();
      part.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      pen.closePath();
      pen.stroke();
      for (const [x, y] of part) {
        pen.fillStyle = colour;
        pen.beginPath();
        pen.arc(x, y, size, 0, 7);
        pen.fill();
      }
    };
    line(points.slice(0, 4), "#ffd166");
    if (points.length > 4) line(points.slice(4), "#7fd1ff");
    write();
  }

  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [((event.clientX - box.left) * canvas.width) / box.width, ((event.clientY - box.top) * canvas.height) / box.height];
  };
  canvas.addEventListener("pointerdown", (event) => {
    const here = at(event);
    const near = (canvas.width / canvas.clientWidth) * 22;
    held = points.findIndex(([x, y]) => Math.hypot(x - here[0], y - here[1]) < near);
    if (held < 0) held = points.push(here) - 1;
    canvas.setPointerCapture(event.pointerId);
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (held < 0) return;
    points[held] = at(event);
    draw();
  });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => (held = -1));
  form.querySelector("[data-undo]").addEventListener("click", () => {
    points.pop();
    draw();
  });
  form.addEventListener("input", write);
  photo.addEventListener("load", () => {
    canvas.width = photo.naturalWidth;
    canvas.height = photo.naturalHeight;
    draw();
  });
  photo.src = form.dataset.trace;
}
