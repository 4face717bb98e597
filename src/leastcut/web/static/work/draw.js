// Drawings: the section in hand with its strokes, and the small pattern sheet. Panels have v upwards,
// drawings y downwards.

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

const ring = (points, close = true) => `M${points.map(([x, y]) => `${x} ${-y}`).join("L")}${close ? "Z" : ""}`;

function hatch(id, turn, gap, width) {
  const pattern = svg("pattern", { id, width: gap, height: gap, patternUnits: "userSpaceOnUse", patternTransform: `rotate(${turn})` });
  pattern.append(svg("path", { d: `M0 0V${gap}`, class: "ink-line", "stroke-width": width }));
  return pattern;
}

/** Draw a section; returns the drawing and what the pace moves in it. */
export function drawSection(piece, panel, pad, title) {
  const xs = piece.worked.map((p) => p[0]);
  const ys = piece.worked.map((p) => p[1]);
  const rim = Math.max(60, 0.4 * pad);
  const [left, top] = [Math.min(...xs) - rim, -Math.max(...ys) - rim];
  const [wide, high] = [Math.max(...xs) - left + rim, -Math.min(...ys) - top + rim];
  const fine = Math.max(wide, high) / 200;
  const made = svg("svg", { viewBox: `${left} ${top} ${wide} ${high}`, role: "img", class: "section", "aria-label": title });
  made.append(svg("defs", {}, hatch("keep-off", 45, 9 * fine, 2 * fine)));
  made.append(svg("path", { d: ring(panel.outline), class: "panel" }));
  made.append(svg("path", { d: ring(piece.worked), class: "worked" }));
  made.append(svg("path", { d: ring(piece.cell), class: "cell" }));
  for (const line of panel.lines) {
    made.append(svg("path", { d: ring(line, false), class: "body-line" }));
  }
  for (const keep of panel.keep_off) made.append(svg("path", { d: ring(keep), class: "keep-off", fill: "url(#keep-off)" }));
  const strokes = piece.strokes.map((stroke) => svg("path", { d: ring(stroke, false), class: "line" }));
  const group = svg("g", { class: "strokes" }, ...strokes);
  if (piece.strokes.length) {
    const [x, y] = piece.strokes[0][0];
    group.append(svg("circle", { cx: x, cy: -y, r: 4.5 * fine, class: "first" }));
  }
  const dot = svg("g", { class: "dot" }, svg("circle", { r: pad / 2, class: "pad" }), svg("circle", { r: 5 * fine, class: "heart" }));
  dot.setAttribute("visibility", "hidden");
  made.append(group, dot);
  return { drawing: made, strokes, dot, fine };
}

/** Draw the small pattern sheet; returns the drawing and a function that dresses it. */
export function drawSheet(bundle) {
  const [wide, high, scale] = bundle.sheet;
  const made = svg("svg", { viewBox: `0 0 ${wide} ${high}`, role: "img", class: "sheet-small" });
  const defs = svg("defs", {}, hatch("is-working", 45, 2.4, 1.1), hatch("is-paused", 0, 2, 0.35));
  const out = hatch("is-skipped", 45, 1.6, 0.25);
  out.append(svg("path", { d: "M0 0H1.6", class: "ink-line", "stroke-width": 0.25 }));
  defs.append(out);
  made.append(defs);
  const cells = new Map();
  for (const panel of bundle.panels) {
    const [x, y] = panel.at;
    const group = svg("g", { transform: `translate(${x} ${y}) scale(${scale})` });
    for (const piece of bundle.sections.filter((s) => s.panel === panel.id)) {
      const cell = svg("path", { d: ring(piece.cell), class: "cell", "stroke-width": 0.18 / scale });
      cells.set(`${piece.panel}/${piece.id}`, cell);
      group.append(cell);
    }
    group.append(svg("path", { d: ring(panel.outline), class: "outline", "stroke-width": 0.45 / scale }));
    made.append(group);
  }
  // Hatching is drawn on the sheet's own scale: cells carry it through a transform of their own.
  for (const pattern of defs.children) {
    pattern.setAttribute("patternTransform", `scale(${1 / scale}) ${pattern.getAttribute("patternTransform")}`);
  }
  const dress = (stateOf, chosen, title) => {
    made.setAttribute("aria-label", title);
    for (const [place, cell] of cells) {
      const state = stateOf(place);
      const fills = { done: "currentColor", working: "url(#is-working)", paused: "url(#is-paused)", skipped: "url(#is-skipped)" };
      cell.setAttribute("fill", fills[state] ?? "none");
      cell.setAttribute("class", `cell ${state}${place === chosen ? " chosen" : ""}`);
      cell.setAttribute("stroke-width", (place === chosen ? 1.1 : 0.18) / scale);
    }
  };
  return { drawing: made, dress };
}

/** A swatch for the legend, in the sheet's own hatching. */
export function swatch(state, scale) {
  const fills = { done: "currentColor", working: "url(#is-working)", paused: "url(#is-paused)", skipped: "url(#is-skipped)" };
  const made = svg("svg", { viewBox: `0 0 ${10 / scale} ${6.7 / scale}`, class: "swatch", "aria-hidden": "true" });
  made.append(svg("rect", { width: 10 / scale, height: 6.7 / scale, fill: fills[state] ?? "none", class: "cell", "stroke-width": 0.8 / scale }));
  return made;
}
