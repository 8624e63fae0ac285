// Side by side: all pieces that are called alike on one screen, so that the odd one strikes the eye.

import { get } from "./ask.js";
import { alternatives } from "./card.js";
import { byId, h, keyButton } from "./dom.js";
import { studs, swatch } from "./draw.js";
import { APART, CAPTION, GAP, HEAD, cell, screens, shelves } from "./shelves.js";
import * as words from "./words.js";

// So many choices have keys and room beside each other.
const MOST_KEYS = 9;

const view = byId("side-view");
const bench = byId("bench");
const strip = byId("strip");

// Screens are made when the view is opened or the window changes, and then only get emptier: nothing moves up under
// the eye while one looks at it.
let made = { key: "", lists: [] };
let app = null;

// Before anything else: the page that this is a view of.
export const attach = (page) => { app = page; };

// Pieces that a screen may show: not yet looked at, or all.
const shows = (piece) => piece && (app.all || !(piece.looked_at || piece.as_counted));

const crops = () => app.sheet.side.flatMap((row) => row.crops).filter((crop) => !app.check || app.check.has(crop.id));
const path = (crop) => `upright/${app.index}/${crop.id}/${crop.look}`;

// px to a mm and the height below a doubtful crop, as the window has room.
const measures = () => (innerWidth <= 760 ? { scale: 3.2, chip: 48 } : { scale: 3.6, chip: 30 });

const room = () => ({ width: bench.clientWidth - 24, height: bench.clientHeight - 12 });

function rows(ids) {
  const with_ = measures();
  const known = ids && new Set(ids);
  const taken = app.sheet.side.map((row) => ({
    ...row,
    cells: row.crops.filter((crop) => (known ? known.has(crop.id) : !app.check || app.check.has(crop.id)) && shows(app.piece(crop.id)))
      .map((crop) => cell(crop, with_, app.open.has(crop.id))),
  }));
  return taken.filter((row) => row.cells.length);
}

// The screens, made anew where the window changed or a piece came that is on none.
function lists() {
  const { width, height } = room();
  const key = `${app.index} ${width} ${height} ${app.all} ${Boolean(app.check)}`;
  const on = new Set(made.lists.flat());
  const whole = crops().every((crop) => on.has(crop.id) || !shows(app.piece(crop.id)));
  if (made.key !== key || !whole) {
    const isAtEnd = made.key !== "" && app.screen >= made.lists.length && whole;
    const before = made.lists[app.screen]?.find((id) => shows(app.piece(id)));
    made = { key, lists: screens(rows(), { width, height }) };
    app.screen = isAtEnd ? made.lists.length : Math.max(0, made.lists.findIndex((list) => list.includes(before)));
  }
  return made.lists;
}

export const shown = () => (lists()[app.screen] ?? []).filter((id) => shows(app.piece(id)));
const isFilled = (list) => list.some((id) => shows(app.piece(id)) && crops().some((crop) => crop.id === id));

// To the nearest screen that has something: the next one, or the one before.
function settle() {
  const all = lists();
  if (all[app.screen] && isFilled(all[app.screen])) return;
  const next = all.findIndex((list, i) => i >= app.screen && isFilled(list));
  app.screen = next >= 0 ? next : all.length;
}

export function turn(by) {
  const all = lists();
  let at = app.screen + by;
  while (all[at] && !isFilled(all[at])) at += by;
  if (at < 0) return;
  app.screen = Math.min(at, all.length);
  app.at = null;
  held = false;
  app.draw();
}

// The screen on which a piece stands.
export function find(id) {
  const at = lists().findIndex((list) => list.includes(id));
  if (at >= 0) app.screen = at;
}

export const enter = () => { made = { key: "", lists: [] }; app.screen = 0; held = false; };

// After a step: on to what is left; after undoing: to what came back.
export function follow(before, isDone) {
  const was = new Map(before.pieces.map((piece) => [piece.id, piece]));
  const back = app.sheet.pieces.find((piece) => shows(piece) && !shows(was.get(piece.id)) && crops().some(({ id }) => id === piece.id));
  if (back) find(back.id);
  // What was put right in one respect may have to be in another: it stays chosen, wherever it stands now, until one points
  // at another.
  const stays = !isDone && app.at?.kind === "piece" && app.piece(app.at.id);
  if (!stays) app.at = null;
  held = false;
}

// Says why a crop is not shown, once for all of a screen.
let explained = false;
function explain(what) {
  if (explained) return;
  explained = true;
  get(what).catch((error) => app.say(error.message));
}

// All crops of the screen must have been seen before one key accepts them: why they were not; none where they were.
export function unseen() {
  const missing = [...bench.querySelectorAll(".crop img")].filter((image) => !image.complete || image.naturalWidth === 0);
  if (!missing.length) return null;
  return missing.every((image) => image.complete) ? "Crops that cannot be shown are not accepted: look at these pieces one by one (B)."
    : "Not all of these are shown yet; press the key again when they are.";
}

// What a piece could be, in the order of its keys: what the count says of it, then what it looks like, then the sizes next to
// its own.
export function choices(piece) {
  const { like } = crops().find(({ id }) => id === piece.id) ?? { like: [] };
  const same = { form: piece.form, size: piece.size, colour: piece.colour };
  const key = (kind) => `${kind.form} ${kind.size} ${kind.colour}`;
  const seen = new Set([key(piece)]);
  const all = [
    ...alternatives(app, piece).slice(0, 5),
    ...like.map((colour) => ({ ...same, colour })),
    ...sizesBeside(piece).map((size) => ({ ...same, size })),
  ];
  return all.filter((kind) => !seen.has(key(kind)) && seen.add(key(kind))).slice(0, MOST_KEYS);
}

// The next longer and shorter sizes of the same form and width, then the next wider and narrower: a cut-off end is the usual
// slip.
function sizesBeside(piece) {
  const own = studs(piece.size);
  const sizes = app.vocabulary.forms.find(({ name }) => name === piece.form)?.sizes ?? [];
  const next = (side) => {
    const alike = sizes.map((size) => [size, studs(size)]).filter(([, found]) => own && found && found[1 - side] === own[1 - side]);
    const longer = alike.filter(([, found]) => found[side] > own[side]).sort((a, b) => a[1][side] - b[1][side])[0];
    const shorter = alike.filter(([, found]) => found[side] < own[side]).sort((a, b) => b[1][side] - a[1][side])[0];
    return [longer, shorter];
  };
  return [...next(1), ...next(0)].filter(Boolean).map(([size]) => size);
}

// Only what is different is said.
function difference(piece, other) {
  const parts = [
    other.colour !== piece.colour && [swatch(app.hex(other.colour)), h("span", {}, other.colour)],
    other.form !== piece.form && h("span", {}, other.form),
    other.size !== piece.size && h("span", {}, words.size(other.size)),
  ];
  return parts.filter(Boolean);
}

const said = (piece, other) => [other.colour !== piece.colour && other.colour, other.form !== piece.form && other.form, other.size !== piece.size && words.size(other.size)].filter(Boolean).join(" ");

function crop({ crop: one, isOpen, width, height, room }, isFirst) {
  const piece = app.piece(one.id);
  const isAt = app.at?.kind === "piece" && app.at.id === piece.id;
  const [likeliest] = isOpen ? alternatives(app, piece) : [];
  const name = `Piece ${piece.id}, ${words.kind(piece)}${isOpen ? ", doubtful" : piece.looked_at ? ", looked at" : ", sure"}`;
  const image = h("img", { src: path(one), alt: "", width, height, draggable: "false", decoding: "async" });
  image.onerror = () => explain(path(one));
  const element = h("div", { class: "cell" },
    h("p", { class: "cell-kind" }, isFirst ? `${piece.form} ${words.size(piece.size)}` : ""),
    h("button", {
      type: "button", class: `crop${isOpen ? " doubtful" : ""}${piece.looked_at ? " looked" : ""}`, "data-id": piece.id, "aria-label": name,
      "aria-pressed": String(isAt), title: isOpen ? piece.doubts.join("; ") : null, tabindex: isAt || (isFirst && !app.at) ? 0 : -1,
      onclick: () => hold(piece.id),
      onpointerenter: (event) => { if (event.pointerType === "mouse" && !held && hasMoved(event)) point(piece.id); },
    }, image),
    likeliest && h("button", {
      type: "button", class: "chip", "aria-label": `Piece ${piece.id} is ${said(piece, likeliest)}`, tabindex: -1,
      onclick: (event) => app.actions.move(piece.id, likeliest, event),
    }, difference(piece, likeliest), "?"));
  element.style.width = `${room}px`;
  return element;
}

function block({ colour, near, lines, width }) {
  const head = h("h3", { class: "block-head" }, swatch(app.hex(colour)), h("span", { class: "block-name" }, colour),
    near.length > 0 && h("span", { class: "near-names" }, near.map((name) => h("span", { class: "near-name" }, "or ", swatch(app.hex(name)), name))));
  let last = "";
  const element = h("section", { class: "block", "aria-label": colour }, head, lines.map((line) => h("div", { class: "line" }, line.cells.map((one) => {
    const kind = `${one.crop.form} ${one.crop.size}`;
    const isFirst = kind !== last;
    last = kind;
    return crop(one, isFirst);
  }))));
  element.style.width = `${width}px`;
  return element;
}

// Keys are for the crop that the pointer is on, until one is chosen: then it stays, so that one can point at what it is.
let held = false;

// Where the pointer was last: a crop that comes to lie below a pointer at rest is not meant by it.
let last = [];
document.addEventListener("pointermove", ({ clientX, clientY }) => { last = [clientX, clientY]; });
const hasMoved = ({ clientX, clientY }) => clientX !== last[0] || clientY !== last[1];

function point(id) {
  app.at = id === null ? null : { kind: "piece", id };
  for (const button of bench.querySelectorAll(".crop")) {
    const isAt = id === Number(button.dataset.id);
    button.setAttribute("aria-pressed", String(isAt));
    button.tabIndex = isAt ? 0 : -1;
  }
  drawStrip();
}

function hold(id) {
  if (held && app.at?.id === id) return select(null);
  select(id);
}

export function select(id) {
  held = id !== null;
  point(id);
  bench.querySelector('.crop[aria-pressed="true"]')?.focus();
}

// From crop to crop as they lie on the screen.
export function go(key) {
  const all = [...bench.querySelectorAll(".crop")];
  if (!all.length) return;
  const at = all.find((button) => app.at && Number(button.dataset.id) === app.at.id);
  if (!at) return select(Number(all[0].dataset.id));
  if (key === "ArrowLeft" || key === "ArrowRight") {
    const next = all[all.indexOf(at) + (key === "ArrowRight" ? 1 : -1)];
    return next && select(Number(next.dataset.id));
  }
  const box = (button) => { const b = button.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; };
  const [x, y] = box(at);
  const down = key === "ArrowDown" ? 1 : -1;
  const far = (button) => { const [u, v] = box(button); return (v - y) * down > 8 ? (v - y) * down * 3 + Math.abs(u - x) : Infinity; };
  const next = all.reduce((best, button) => (far(button) < far(best) ? button : best), at);
  if (far(next) < Infinity) select(Number(next.dataset.id));
}

function drawStrip() {
  const piece = app.at?.kind === "piece" && app.piece(app.at.id);
  const { actions } = app;
  strip.classList.toggle("empty", !piece);
  if (!piece) {
    strip.replaceChildren(h("p", { class: "strip-hint" }, "One is not right? Point at it, or go there with the arrow keys, and press what it is. What stands below a crop takes one click."));
    return;
  }
  const others = choices(piece);
  strip.replaceChildren(
    h("p", { class: "strip-name" }, h("strong", {}, `Piece ${piece.id}`), h("span", { class: "strip-kind" }, words.piece(piece))),
    h("div", { class: "strip-choices", role: "group", "aria-label": "What is it?" },
      others.map((other, i) => h("button", { type: "button", class: "strip-choice", "data-kind": JSON.stringify(other), "aria-keyshortcuts": String(i + 1), onclick: (event) => actions.move(piece.id, other, event) },
        difference(piece, other), " ", h("kbd", {}, String(i + 1))))),
    h("div", { class: "strip-tools", role: "group", "aria-label": "Put this piece right" },
      keyButton("Size", "z", actions.size), keyButton("Form", "f", actions.form), keyButton("Colour", "c", actions.colour),
      keyButton("Remove", "x", actions.remove, { class: "danger" }), keyButton("Closer", "o", actions.alone)));
}

// What stays for the other view.
const alone = () => app.open.size + app.sheet.spots.length;

function end() {
  if (app.check) return checked();
  const left = alone();
  const { posted } = app.sheet;
  bench.replaceChildren(h("div", { class: "done" },
    h("h2", {}, left ? `${left} left to look at one by one` : posted ? "This sheet is in the stock" : "Nothing left to look at"),
    h("p", {}, left ? "Their form or colour cannot be told, they are mostly covered, or nothing explains what lies there." : "Every piece that could be laid side by side was looked at."),
    left ? keyButton("Look at them one by one", "Enter", app.actions.sideAccept, { class: "primary" })
      : keyButton(posted ? "Other sheets" : "Finish this sheet", "Enter", app.actions.sideAccept, { class: "primary" })));
  strip.replaceChildren();
  strip.classList.add("empty");
}

function checked() {
  bench.replaceChildren(h("div", { class: "done" }, h("h2", {}, "These pieces were looked at"),
    h("p", {}, "Thank you: each such look says how far 'sure' can be trusted."),
    keyButton("Go on to finish", "Enter", app.actions.sideAccept, { class: "primary" })));
  strip.replaceChildren();
  strip.classList.add("empty");
}

export function drawSide() {
  settle();
  const all = lists();
  const ids = shown();
  const doubtful = ids.filter((id) => app.open.has(id)).length;
  const places = all.map((list, i) => [list, i]).filter(([list]) => isFilled(list)).map(([, i]) => i);
  const at = places.indexOf(app.screen);
  const colours = new Set(ids.map((id) => app.piece(id).colour));
  byId("side-title").textContent = app.check ? "Spot check" : at < 0 ? "Side by side" : [...colours].join(", ");
  byId("side-where").textContent = at < 0 ? "" : `Screen ${at + 1} of ${places.length} left: ${words.plural(ids.length, "piece", "pieces")}${doubtful ? `, ${doubtful} doubtful` : ""}`;
  byId("side-accept").hidden = at < 0;
  byId("side-previous").disabled = !places.some((i) => i < app.screen);
  byId("side-next").disabled = at < 0;
  if (at < 0) return end();
  explained = false;
  const had = bench.contains(document.activeElement);
  bench.replaceChildren(...shelves(rows(ids), room()).map((shelf) => h("div", { class: "shelf" }, shelf.blocks.map(block))));
  drawStrip();
  if (had) (bench.querySelector('.crop[aria-pressed="true"]') ?? bench).focus({ preventScroll: true });
  // The next screen's crops, so that a key shows them at once.
  const next = all.slice(app.screen + 1).find(isFilled) ?? [];
  const ahead = new Map(crops().map((one) => [one.id, one]));
  for (const id of next) if (ahead.has(id)) new Image().src = path(ahead.get(id));
}

for (const [name, value] of Object.entries({ "--head": HEAD, "--caption": CAPTION, "--gap": GAP, "--apart": APART })) {
  view.style.setProperty(name, `${value}px`);
}
new ResizeObserver(() => { if (app?.sheet && app.isSide) app.draw(); }).observe(bench);
