// The photo with its outlines: zoom, pan, choosing by pointer, dragging a rectangle.

import { byId, s } from "./dom.js";
import { get } from "./ask.js";

const svg = byId("photo");
const picture = byId("picture");
const note = byId("photo-note");
const LONG_SIDES = [1600, 3200, 6400];
// A press that moves less than this is a click, CSS px.
const CLICK = 6;
// Between a piece and the ring around it, CSS px.
const RING = 7;
// A finger hits what is this near, CSS px.
const REACH = 24;

let photo = { index: -1, number: 1, width: 1, height: 1, side: 0 };
let view = { x: 0, y: 0, w: 1, h: 1 };
let shapes = new Map();
let heard = { piece() {}, spot() {}, drag() {} };
let tool = "look";
let current = null;

const layers = {
  sure: s("g"), open: s("g"), spots: s("g"), draft: s("g"), current: s("g"),
};
svg.append(...Object.values(layers));

export function listen(handlers) {
  heard = handlers;
}

export function setTool(name) {
  tool = name;
  svg.classList.toggle("adding", name === "add");
}

// Shows a photo of a sheet; `of` tells its size. As near as before where it is another one of the same tray.
export function show(index, number, of) {
  const near = photo.index === index ? photo.width / view.w : 0;
  photo = { index, number, width: of.width_px, height: of.height_px, side: 0 };
  picture.removeAttribute("src");
  shapes = new Map();
  for (const layer of [layers.sure, layers.open, layers.spots, layers.draft, layers.current]) layer.replaceChildren();
  fit();
  const fitted = photo.width / view.w;
  if (near > fitted) zoom(near / fitted);
}

// As much of the photo's pixels as the window can show, and no more.
function load() {
  if (photo.index < 0) return;
  const scale = (svg.clientWidth * devicePixelRatio) / view.w;
  const wanted = Math.max(photo.width, photo.height) * scale;
  const side = LONG_SIDES.find((side) => side >= wanted * 0.8) ?? LONG_SIDES.at(-1);
  if (side <= photo.side || (photo.side && photo.side >= Math.max(photo.width, photo.height))) return;
  photo.side = side;
  const href = `photo/${photo.index}/${photo.number}/${side}`;
  const ahead = new Image();
  const isShown = () => href.startsWith(`photo/${photo.index}/${photo.number}/`);
  ahead.onload = () => { if (!isShown()) return; note.hidden = true; picture.src = href; svg.dataset.ready = href; };
  ahead.onerror = () => isShown() && get(href).catch((error) => { note.textContent = error.message; note.hidden = false; });
  ahead.src = href;
}

const points = (outline) => outline.map(([x, y]) => `${x},${y}`).join(" ");

// Draws what is new or different; the rest stays as it is. Pieces and spots have their places in the photo that is shown.
export function draw(pieces, spots, open) {
  const seen = new Set();
  for (const piece of pieces) {
    const look = open.has(piece.id) || piece.as_counted ? "open" : piece.looked_at ? "looked" : "sure";
    const key = `${look} ${points(piece.outline_px)}`;
    seen.add(piece.id);
    const old = shapes.get(piece.id);
    if (old?.key === key) continue;
    old?.element.remove();
    const outline = points(piece.outline_px);
    const element = s("g", { class: `outline ${look}`, "data-id": piece.id },
      s("polygon", { points: outline, class: "casing" }), s("polygon", { points: outline, class: "line" }));
    layers[look === "open" ? "open" : "sure"].append(element);
    shapes.set(piece.id, { key, element, piece });
  }
  for (const [id, shape] of shapes) {
    if (seen.has(id)) continue;
    shape.element.remove();
    shapes.delete(id);
  }
  layers.spots.replaceChildren(...spots.map((spot, i) => s("g", { class: "spot", "data-spot": i },
    s("circle", { cx: spot.x, cy: spot.y, r: Math.max(spot.r, 12), class: "casing" }),
    s("circle", { cx: spot.x, cy: spot.y, r: Math.max(spot.r, 12), class: "line" }))));
}

// Marks one outline or circle; none for nothing.
export function mark(item) {
  current = item;
  ring();
  if (item) bringIn(item);
}

// Around the item and not on it, however far one has zoomed in.
function ring() {
  if (!current) return layers.current.replaceChildren();
  const gap = (RING * view.w) / (svg.clientWidth || 1);
  const make = (name) => current.outline
    ? s("polygon", { points: points(widened(current.outline, gap)), class: name })
    : s("circle", { cx: current.x, cy: current.y, r: Math.max(current.r, 12) + gap, class: name });
  layers.current.replaceChildren(s("g", { class: "current" }, make("casing"), make("line")));
}

// Every corner further out by the gap, from the outline's middle.
function widened(outline, gap) {
  const [x, y] = [0, 1].map((k) => outline.reduce((sum, p) => sum + p[k], 0) / outline.length);
  return outline.map((p) => {
    const far = Math.hypot(p[0] - x, p[1] - y) || 1;
    return [x + (p[0] - x) * (1 + (gap * 1.4) / far), y + (p[1] - y) * (1 + (gap * 1.4) / far)];
  });
}

export function drawDraft(outline) {
  layers.draft.replaceChildren(...(outline ? [s("g", { class: "draft" },
    s("polygon", { points: points(outline), class: "casing" }), s("polygon", { points: points(outline), class: "line" }))] : []));
}

function apply() {
  svg.setAttribute("viewBox", [view.x, view.y, view.w, view.h].map((v) => v.toFixed(1)).join(" "));
  const scale = svg.clientWidth / view.w;
  picture.style.width = `${photo.width * scale}px`;
  picture.style.height = `${photo.height * scale}px`;
  picture.style.transform = `translate(${-view.x * scale}px, ${-view.y * scale}px)`;
  ring();
  load();
}

export function fit() {
  const [w, h] = [svg.clientWidth || 1, svg.clientHeight || 1];
  const scale = Math.min(w / photo.width, h / photo.height);
  view = { w: w / scale, h: h / scale };
  view.x = (photo.width - view.w) / 2;
  view.y = (photo.height - view.h) / 2;
  apply();
}

// Keeps the photo from being lost outside of the window.
function hold() {
  const within = (at, span, whole) => span >= whole
    ? (whole - span) / 2
    : Math.min(Math.max(at, -span * 0.1), whole - span * 0.9);
  view.x = within(view.x, view.w, photo.width);
  view.y = within(view.y, view.h, photo.height);
}

export function zoom(factor, at = [view.x + view.w / 2, view.y + view.h / 2]) {
  const whole = Math.max(photo.width / svg.clientWidth, photo.height / svg.clientHeight) * svg.clientWidth;
  const w = Math.min(Math.max(view.w / factor, 60), whole);
  const share = w / view.w;
  view = { x: at[0] - (at[0] - view.x) * share, y: at[1] - (at[1] - view.y) * share, w, h: view.h * share };
  hold();
  apply();
}

export function pan(x, y) {
  view.x += x * view.w;
  view.y += y * view.h;
  hold();
  apply();
}

export const middle = () => [view.x + view.w / 2, view.y + view.h / 2];

// Moves the view only where the item would be out of it.
function bringIn(item) {
  const [xs, ys] = item.outline
    ? [item.outline.map((p) => p[0]), item.outline.map((p) => p[1])]
    : [[item.x - item.r, item.x + item.r], [item.y - item.r, item.y + item.r]];
  const margin = view.w * 0.04;
  const outside = Math.min(...xs) < view.x + margin || Math.max(...xs) > view.x + view.w - margin ||
    Math.min(...ys) < view.y + margin || Math.max(...ys) > view.y + view.h - margin;
  if (!outside || view.w >= photo.width) return;
  view.x = (Math.min(...xs) + Math.max(...xs)) / 2 - view.w / 2;
  view.y = (Math.min(...ys) + Math.max(...ys)) / 2 - view.h / 2;
  hold();
  apply();
}

function place(event) {
  const box = svg.getBoundingClientRect();
  return [view.x + ((event.clientX - box.left) / box.width) * view.w,
    view.y + ((event.clientY - box.top) / box.height) * view.h];
}

function hit(event) {
  const here = place(event);
  const reach = (REACH * view.w) / svg.clientWidth;
  let best = null;
  for (const { piece } of shapes.values()) {
    const inside = contains(piece.outline_px, here);
    const far = inside ? -1 : Math.hypot(piece.x_px - here[0], piece.y_px - here[1]);
    if (far < (best?.far ?? reach)) best = { far, id: piece.id };
  }
  if (best?.far !== -1) {
    const spot = document.elementFromPoint(event.clientX, event.clientY)?.closest?.("[data-spot]");
    if (spot) return heard.spot(Number(spot.dataset.spot));
  }
  if (best) heard.piece(best.id);
}

function contains(outline, [x, y]) {
  let inside = false;
  outline.forEach(([ax, ay], i) => {
    const [bx, by] = outline[(i || outline.length) - 1];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
}

const pointers = new Map();
let press = null;

svg.addEventListener("pointerdown", (event) => {
  svg.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, event);
  press = pointers.size === 1 ? { event, from: place(event), moved: false } : null;
  if (press) press.adding = tool === "add";
});

svg.addEventListener("pointermove", (event) => {
  const last = pointers.get(event.pointerId);
  if (!last) return;
  pointers.set(event.pointerId, event);
  if (pointers.size === 2) return pinch(last, event);
  if (!press) return;
  press.moved ||= Math.hypot(event.clientX - press.event.clientX, event.clientY - press.event.clientY) > CLICK;
  if (!press.moved) return;
  if (press.adding) {
    const [x, y] = place(event);
    drawDraft([press.from, [x, press.from[1]], [x, y], [press.from[0], y]]);
  } else {
    pan((last.clientX - event.clientX) / svg.clientWidth, (last.clientY - event.clientY) / svg.clientHeight);
  }
});

function pinch(last, event) {
  const other = [...pointers.values()].find((pointer) => pointer.pointerId !== event.pointerId);
  const gap = (a) => Math.hypot(a.clientX - other.clientX, a.clientY - other.clientY) || 1;
  const between = { clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 };
  zoom(gap(event) / gap(last), place(between));
}

function release(event) {
  pointers.delete(event.pointerId);
  const done = press;
  press = null;
  if (!done || event.type === "pointercancel") return;
  if (done.adding) heard.drag([...done.from, ...place(event)]);
  else if (!done.moved) hit(event);
}
svg.addEventListener("pointerup", release);
svg.addEventListener("pointercancel", release);

svg.addEventListener("wheel", (event) => {
  event.preventDefault();
  zoom(Math.exp(-event.deltaY * 0.0016), place(event));
}, { passive: false });

new ResizeObserver(fit).observe(svg);
