// Pictures of pieces, from the list of forms that the program knows.

import { s } from "./dom.js";

let forms = new Map();

export function learn(vocabulary) {
  forms = new Map(vocabulary.forms.map((form) => [form.name, form]));
}

// Pitch and stud in mm, as docs/conventions.md has them.
const PITCH = 8;
const STUD = { radius: 2.4, height: 1.7 };
const COS = Math.cos(Math.PI / 6);

const flat = (x, y, z) => [(x - y) * COS, (x + y) / 2 - z];

function shade(hex, factor) {
  const level = (i) => Math.round(parseInt(hex.slice(i, i + 2), 16) * factor);
  return `rgb(${level(1)} ${level(3)} ${level(5)})`;
}

// Studs along both sides, or nothing where the size is of another kind.
export function studs(size) {
  const found = /^(\d+)x(\d+)$/.exec(size);
  return found && [Number(found[1]), Number(found[2])];
}

// A piece as seen from above at an angle. A form that is not listed is drawn flat with
// a question mark, as is one that cannot be told.
export function picture(piece, hex, more = {}) {
  const box = studs(piece.size);
  const form = forms.get(piece.form);
  const svg = s("svg", { class: "piece", "aria-hidden": "true", ...more });
  if (!box) {
    svg.setAttribute("viewBox", "-20 -12 40 24");
    svg.append(s("rect", { x: -16, y: -9, width: 32, height: 18, rx: 3, fill: hex, class: "edge" }));
    return svg;
  }
  const [short, long] = box;
  const [a, b, z] = [long * PITCH, short * PITCH, form?.height_mm ?? 3.2];
  const face = (points, fill) => svg.append(s("polygon", {
    points: points.map(([x, y, h]) => flat(x, y, h).map((v) => v.toFixed(1)).join()).join(" "),
    fill, class: "edge",
  }));
  const drawn = form?.drawn.find((one) => one.size === piece.size);
  const placed = (points) => points.map(([x, y]) => [x + a / 2, y + b / 2]);
  const outline = drawn ? placed(drawn.outline) : [[0, 0], [a, 0], [a, b], [0, b]];
  sides(outline, z, (points, factor) => face(points, shade(hex, factor)));
  face(outline.map(([x, y]) => [x, y, z]), hex);
  const grid = () => Array.from({ length: long * short }, (_, i) => [(Math.floor(i / short) + 0.5) * PITCH, (i % short + 0.5) * PITCH]);
  const middles = drawn ? placed(drawn.studs) : form?.studs ? grid() : [];
  // The far ones first: the near ones stand before them.
  middles.sort((p, q) => p[0] + p[1] - q[0] - q[1]);
  for (const [x, y] of middles) svg.append(stud(x, y, z, hex));
  if (!form) {
    const [x, y] = flat(a / 2, b / 2, z);
    svg.append(s("text", { x, y, class: "unknown" }, "?"));
  }
  // Around all corners, studs and a little air.
  const left = -b * COS - 1.5;
  const top = -z - STUD.height - 2.5;
  svg.setAttribute("viewBox", [left, top, (a + b) * COS + 3, (a + b) / 2 - top + 1.5].map((v) => v.toFixed(1)).join(" "));
  return svg;
}

// The sides of a body that are seen, the far ones first, each darker the more it is turned away
// from the light, which comes from the left.
function sides(outline, z, draw) {
  const twice = outline.reduce((sum, [x, y], i) => {
    const [u, v] = outline[(i + 1) % outline.length];
    return sum + x * v - u * y;
  }, 0);
  const seen = outline.map(([x, y], i) => {
    const [u, v] = outline[(i + 1) % outline.length];
    const length = Math.hypot(u - x, v - y) || 1;
    // Outwards, whichever way round the corners run.
    const out = [(v - y) / length, (x - u) / length].map((n) => n * Math.sign(twice));
    return { points: [[x, y, 0], [u, v, 0], [u, v, z], [x, y, z]], out, depth: x + y + u + v };
  }).filter(({ out }) => out[0] + out[1] > 1e-6);
  seen.sort((p, q) => p.depth - q.depth);
  for (const { points, out } of seen) draw(points, 0.8 - 0.18 * Math.max(0, out[0]));
}

function stud(x, y, z, hex) {
  // A circle lying flat is an ellipse, sqrt(3/2) and sqrt(1/2) as wide and high here.
  const [rx, ry] = [STUD.radius * 1.225, STUD.radius * 0.707];
  const [cx, foot] = flat(x, y, z);
  const top = foot - STUD.height;
  return s("g", { class: "edge" },
    s("path", { d: `M${cx - rx} ${top}V${foot}A${rx} ${ry} 0 0 0 ${cx + rx} ${foot}V${top}Z`, fill: shade(hex, 0.75) }),
    s("ellipse", { cx, cy: top, rx, ry, fill: hex }));
}

export function swatch(hex) {
  return s("svg", { class: "swatch", viewBox: "0 0 16 16", "aria-hidden": "true" },
    s("rect", { x: 0.5, y: 0.5, width: 15, height: 15, rx: 4, fill: hex, class: "edge" }));
}

export function bounds(outline) {
  const xs = outline.map(([x]) => x);
  const ys = outline.map(([, y]) => y);
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  return { left, top, width: Math.max(...xs) - left, height: Math.max(...ys) - top };
}

// The square around an outline that a close look needs, inside the photo, which is one of `app.sheet.photos`.
export function closeUp(photo, outline, around = 1.7) {
  const b = bounds(outline);
  const side = Math.round(Math.min(Math.max(b.width, b.height, 24) * around, photo.width_px, photo.height_px));
  const within = (middle, whole) => Math.max(0, Math.min(Math.round(middle - side / 2), whole - side));
  return { left: within(b.left + b.width / 2, photo.width_px), top: within(b.top + b.height / 2, photo.height_px), side };
}

export const cropPath = (index, number, { left, top, side }) => `crop/${index}/${number}/${left}/${top}/${side}/${side}`;
