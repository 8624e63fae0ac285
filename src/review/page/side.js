// Side by side: all pieces that are called alike on one screen, so that the odd one strikes the eye.

import { get } from "./ask.js";
import { alternatives } from "./card.js";
import { byId, h, keyButton, s } from "./dom.js";
import { closeUp, cropPath, studs, swatch } from "./draw.js";
import { APART, CAPTION, GAP, cell, screens, shelves } from "./shelves.js";
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

// A place that nothing explains has a crop too. Its number changes as others are settled, so it is known by where it lies.
const placeId = ({ x, y }) => `place ${x} ${y}`;
const isPlace = (id) => typeof id === "string";
const spotOf = (sheet, id) => sheet.spots.findIndex((spot) => placeId(spot) === id);

// What a screen may show: places, and pieces not yet looked at, or all.
const isLeft = (piece) => piece && (app.all || !(piece.looked_at || piece.as_counted));
const showsIn = (sheet, id) => (isPlace(id) ? spotOf(sheet, id) >= 0 : isLeft(sheet.pieces.find((piece) => piece.id === id)));
const shows = (id) => showsIn(app.sheet, id);

// Around a place, mm; a crop shows no less and no more.
const PLACE_AROUND = 2.2;
const PLACE_MM = [24, 72];

// Places after all pieces, as crops straight from the photo.
function places() {
  const { spots, mm_per_px: scale, photos: [photo] } = app.sheet;
  const crop = (spot) => {
    const mm = Math.min(Math.max(spot.r * scale * 2 * PLACE_AROUND, PLACE_MM[0]), PLACE_MM[1]);
    const half = mm / scale / 2;
    const square = [[spot.x - half, spot.y - half], [spot.x + half, spot.y + half]];
    return { id: placeId(spot), box_mm: [mm, mm], like: [], spot, area: closeUp(photo, square, 1) };
  };
  return { colour: "No piece explains this", isPlaces: true, near: [], crops: spots.map(crop) };
}

const everyRow = () => [...app.sheet.side, ...(app.check || !app.sheet.spots.length ? [] : [places()])];
const crops = () => everyRow().flatMap((row) => row.crops).filter((crop) => !app.check || app.check.has(crop.id));
const path = (crop) => (crop.area ? cropPath(app.index, 1, crop.area) : `upright/${app.index}/${crop.id}/${crop.look}`);

// px to a mm, the height of a colour's name and that below a doubtful crop, as the window has room and fingers need it.
const measures = () => (innerWidth <= 760 ? { scale: 3.2, head: 48, chip: 48 } : { scale: 3.6, head: 32, chip: 30 });

const room = () => ({ width: bench.clientWidth - 24, height: bench.clientHeight - 12, head: measures().head });

function rows(ids) {
  const with_ = measures();
  const known = ids && new Set(ids);
  const taken = everyRow().map((row) => ({
    ...row,
    cells: row.crops.filter((crop) => (known ? known.has(crop.id) : !app.check || app.check.has(crop.id)) && shows(crop.id))
      .map((crop) => cell(crop, with_, app.open.has(crop.id))),
  }));
  return taken.filter((row) => row.cells.length);
}

// The screens, made anew where the window changed or a piece came that is on none.
function lists() {
  const { width, height } = room();
  const key = `${app.index} ${width} ${height} ${app.all} ${Boolean(app.check)}`;
  const on = new Set(made.lists.flat());
  const whole = crops().every((crop) => on.has(crop.id) || !shows(crop.id));
  if (made.key !== key || !whole) {
    const isAtEnd = made.key !== "" && app.screen >= made.lists.length && whole;
    const before = made.lists[app.screen]?.find(shows);
    made = { key, lists: screens(rows(), room()) };
    app.screen = isAtEnd ? made.lists.length : Math.max(0, made.lists.findIndex((list) => list.includes(before)));
  }
  return made.lists;
}

const onScreen = () => (lists()[app.screen] ?? []).filter(shows);
// The pieces and the places (by their number) that the screen shows.
export const shown = () => ({
  ids: onScreen().filter((id) => !isPlace(id)),
  spots: onScreen().filter(isPlace).map((id) => spotOf(app.sheet, id)),
});
const isFilled = (list) => list.some((id) => shows(id) && crops().some((crop) => crop.id === id));

// Of the first colour on the screen that nobody taught: its general name, and the pieces that still have to be named.
export function unnamed() {
  const on = new Set(onScreen());
  const row = everyRow().find(({ untaught, crops: of }) => untaught && of.some(({ id }) => on.has(id)));
  return row && { colour: row.colour, ids: row.crops.map(({ id }) => id).filter((id) => on.has(id)) };
}

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
  leave();
  app.draw();
}

// The screen on which a piece stands.
export function find(id) {
  const at = lists().findIndex((list) => list.includes(id));
  if (at >= 0) app.screen = at;
}

export const enter = () => { made = { key: "", lists: [] }; app.screen = 0; range.clear(); held = false; };

// After a step: on to what is left; after undoing: to what came back.
export function follow(before, isDone) {
  const back = crops().find(({ id }) => shows(id) && !showsIn(before, id));
  if (back) find(back.id);
  // What was put right in one respect may have to be in another: it stays chosen, wherever it stands now, until one points
  // at another.
  const stays = !isDone && app.at?.kind === "piece" && app.piece(app.at.id);
  range.clear();
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

function crop(laid, isFirst) {
  const { crop: one, isOpen, width, height, room } = laid;
  if (one.spot) return place(laid, isFirst);
  const piece = app.piece(one.id);
  const isAt = isChosen(one.id);
  const [likeliest] = isOpen ? alternatives(app, piece) : [];
  const name = `Piece ${piece.id}, ${words.kind(piece)}${isOpen ? ", doubtful" : piece.looked_at ? ", looked at" : ", sure"}`;
  const image = h("img", { src: path(one), alt: "", width, height, draggable: "false", decoding: "async" });
  image.onerror = () => explain(path(one));
  const element = h("div", { class: "cell" },
    h("p", { class: "cell-kind" }, isFirst ? `${piece.form} ${words.size(piece.size)}` : ""),
    h("button", {
      type: "button", class: `crop${isOpen ? " doubtful" : ""}${piece.looked_at ? " looked" : ""}`, "data-id": piece.id, "aria-label": name,
      "aria-pressed": String(isAt), title: isOpen ? piece.doubts.join("; ") : null, tabindex: isAt || (isFirst && !app.at) ? 0 : -1,
      onclick: (event) => hold(piece.id, event.shiftKey),
      onpointerenter: (event) => { if (event.pointerType === "mouse" && !held && hasMoved(event)) point(piece.id); },
    }, image),
    likeliest && h("button", {
      type: "button", class: "chip", "aria-label": `Piece ${piece.id} is ${said(piece, likeliest)}`, tabindex: -1,
      onclick: (event) => app.actions.move(piece.id, likeliest, event),
    }, difference(piece, likeliest), "?"));
  element.style.width = `${room}px`;
  return element;
}

// A place straight from the photo.
function place({ crop: one, width, height, room }, isFirst) {
  const isAt = isChosen(one.id);
  const image = h("img", { src: path(one), alt: "", width, height, draggable: "false", decoding: "async" });
  image.onerror = () => explain(path(one));
  const element = h("div", { class: "cell" },
    h("p", { class: "cell-kind" }, words.extent(one.spot)),
    h("button", {
      type: "button", class: "crop place", "data-id": one.id, "aria-label": `A place of about ${words.thing(one.spot)} that no piece explains`,
      "aria-pressed": String(isAt), tabindex: isAt || (isFirst && !app.at) ? 0 : -1,
      onclick: () => hold(one.id),
      onpointerenter: (event) => { if (event.pointerType === "mouse" && !held && hasMoved(event)) point(one.id); },
    }, image, ring(one)));
  element.style.width = `${room}px`;
  return element;
}

// Which part of a place's crop is meant.
function ring({ spot, area }) {
  const [x, y] = [spot.x - area.left, spot.y - area.top];
  const r = Math.max(spot.r, area.side / 12);
  return s("svg", { class: "ring", viewBox: `0 0 ${area.side} ${area.side}`, "aria-hidden": "true" }, ...["ring-casing", "ring-line"].map((name) => s("circle", { cx: x, cy: y, r, class: name })));
}

// What a colour could be instead, all of its pieces that are shown here: one press each.
function nearNames({ colour, near, untaught, ids }) {
  const all = words.plural(ids.length, "piece", "pieces");
  const names = near.map((name) => h("button", {
    type: "button", class: "near-name", "data-colour": name, "aria-label": `${ids.length === 1 ? "This piece" : `All ${all}`} called ${colour} here: ${name}`,
    onclick: (event) => app.actions.become(ids, { colour: name }, event),
  }, swatch(app.hex(name)), name));
  const ask = untaught && h("button", { type: "button", class: "near-name", onclick: () => app.actions.nameThem({ colour, ids }) }, "name it…");
  return h("span", { class: "near-names" }, untaught ? "not taught: all" : "or all", names, ask);
}

function block({ colour, near, untaught, isPlaces, lines, width }) {
  const ids = lines.flatMap((line) => line.cells.map(({ crop: { id } }) => id)).filter((id) => isPlace(id) || !app.piece(id).looked_at);
  const canChange = (near.length > 0 || untaught) && ids.length > 0 && app.sheet.posted === null;
  const head = h("h3", { class: "block-head" }, !isPlaces && swatch(app.hex(colour)), h("span", { class: "block-name" }, colour),
    canChange && nearNames({ colour, near, untaught, ids }));
  let last = "";
  const element = h("section", { class: `block${untaught ? " untaught" : ""}`, "aria-label": colour }, head, lines.map((line) => h("div", { class: "line" }, line.cells.map((one) => {
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
// More crops that the same key is for: from the one that was chosen first to the one that was chosen with Shift.
const range = new Set();
let from = null;

const idOf = (at) => (at?.kind === "piece" ? at.id : at?.kind === "spot" && app.sheet.spots[at.i] ? placeId(app.sheet.spots[at.i]) : null);
const isChosen = (id) => idOf(app.at) === id || range.has(id);
// The pieces that a key is for.
export const chosen = () => (range.size > 1 ? [...range] : app.at?.kind === "piece" ? [app.at.id] : []);

function leave() {
  app.at = null;
  range.clear();
  held = false;
}

// Where the pointer was last: a crop that comes to lie below a pointer at rest is not meant by it.
let last = [];
document.addEventListener("pointermove", ({ clientX, clientY }) => { last = [clientX, clientY]; });
const hasMoved = ({ clientX, clientY }) => clientX !== last[0] || clientY !== last[1];

const buttons = () => [...bench.querySelectorAll(".crop")];
const idOn = (button) => (button.classList.contains("place") ? button.dataset.id : Number(button.dataset.id));

function point(id) {
  app.at = id === null ? null : isPlace(id) ? { kind: "spot", i: spotOf(app.sheet, id) } : { kind: "piece", id };
  for (const button of buttons()) {
    const own = idOn(button);
    button.setAttribute("aria-pressed", String(isChosen(own)));
    button.tabIndex = own === id ? 0 : -1;
  }
  drawStrip();
}

function hold(id, isToo) {
  if (held && !isToo && range.size < 2 && idOf(app.at) === id) return select(null);
  select(id, isToo);
}

// `isToo`: with all pieces from the one that was chosen before.
export function select(id, isToo = false) {
  const before = held ? from : null;
  range.clear();
  held = id !== null;
  if (isToo && before !== null && !isPlace(id)) {
    const order = buttons().map(idOn).filter((one) => !isPlace(one));
    const [a, b] = [order.indexOf(before), order.indexOf(id)].sort((x, y) => x - y);
    if (a >= 0) order.slice(a, b + 1).forEach((one) => range.add(one));
  } else from = id;
  point(id);
  buttons().find((button) => idOn(button) === id)?.focus();
}

// From crop to crop as they lie on the screen.
export function go(key, isToo) {
  const all = buttons();
  if (!all.length) return;
  const at = all.find((button) => idOn(button) === idOf(app.at));
  if (!at) return select(idOn(all[0]));
  if (key === "ArrowLeft" || key === "ArrowRight") {
    const next = all[all.indexOf(at) + (key === "ArrowRight" ? 1 : -1)];
    return next && select(idOn(next), isToo);
  }
  const box = (button) => { const b = button.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; };
  const [x, y] = box(at);
  const down = key === "ArrowDown" ? 1 : -1;
  const far = (button) => { const [u, v] = box(button); return (v - y) * down > 8 ? (v - y) * down * 3 + Math.abs(u - x) : Infinity; };
  const next = all.reduce((best, button) => (far(button) < far(best) ? button : best), at);
  if (far(next) < Infinity) select(idOn(next), isToo);
}

function drawStrip() {
  const piece = app.at?.kind === "piece" && app.piece(app.at.id);
  const spot = app.at?.kind === "spot" && app.sheet.spots[app.at.i];
  const { actions } = app;
  strip.classList.toggle("empty", !piece && !spot);
  if (spot) {
    strip.replaceChildren(
      h("p", { class: "strip-name" }, h("strong", {}, "A place"), h("span", { class: "strip-kind" }, `about ${words.thing(spot)}`)),
      h("div", { class: "strip-tools", role: "group", "aria-label": "What lies here?" },
        keyButton("Add a piece here", "a", actions.add), keyButton("Nothing to count", "x", actions.remove), keyButton("Closer", "o", actions.alone)));
    return;
  }
  if (!piece) {
    strip.replaceChildren(h("p", { class: "strip-hint" }, "One is not right? Point at it, or go there with the arrow keys, and press what it is; Shift takes several. What stands below a crop or beside a colour takes one click."));
    return;
  }
  const others = choices(piece);
  const many = chosen().length;
  strip.replaceChildren(
    h("p", { class: "strip-name" }, h("strong", {}, many > 1 ? `${many} pieces` : `Piece ${piece.id}`), h("span", { class: "strip-kind" }, many > 1 ? "all become" : words.piece(piece))),
    h("div", { class: "strip-choices", role: "group", "aria-label": "What is it?" },
      others.map((other, i) => h("button", { type: "button", class: "strip-choice", "data-kind": JSON.stringify(other), "aria-keyshortcuts": String(i + 1), onclick: (event) => actions.move(piece.id, other, event) },
        difference(piece, other), " ", h("kbd", {}, String(i + 1))))),
    h("div", { class: "strip-tools", role: "group", "aria-label": "Put this piece right" },
      keyButton("Size", "z", actions.size), keyButton("Form", "f", actions.form), keyButton("Colour", "c", actions.colour),
      keyButton("Remove", "x", actions.remove, { class: "danger" }), keyButton("Closer", "o", actions.alone)));
}

// What stays for the other view.
const alone = () => app.open.size + app.sheet.spots.length;

// Whether all that could be laid side by side was looked at, and none of it passed over.
export const isThrough = () => crops().every(({ id }) => (isPlace(id) ? !shows(id) : !app.open.has(id)));

function end() {
  if (app.check) return checked();
  const left = alone();
  const { posted } = app.sheet;
  bench.replaceChildren(h("div", { class: "done" },
    h("h2", {}, left ? `${left} left to look at one by one` : posted ? "This sheet is in the stock" : "Nothing left to look at"),
    h("p", {}, left ? "Their form cannot be told, they are mostly covered, or they were passed over." : "Every piece that could be laid side by side was looked at."),
    left ? h("div", { class: "done-buttons" }, keyButton("Look at them one by one", "Enter", app.actions.sideAccept, { class: "primary" }), isThrough() && keyButton("Take them as counted", "k", app.actions.takeRest))
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
  const { ids, spots } = shown();
  const doubtful = ids.filter((id) => app.open.has(id)).length;
  const filled = all.map((list, i) => [list, i]).filter(([list]) => isFilled(list)).map(([, i]) => i);
  const at = filled.indexOf(app.screen);
  const titles = [...new Set(ids.map((id) => app.piece(id).colour)), ...(spots.length ? ["places that no piece explains"] : [])];
  const told = [ids.length && words.plural(ids.length, "piece", "pieces"), doubtful && `${doubtful} doubtful`, spots.length && words.plural(spots.length, "place", "places")];
  byId("side-title").textContent = app.check ? "Spot check" : at < 0 ? "Side by side" : titles.join(", ");
  byId("side-where").textContent = at < 0 ? "" : `Screen ${at + 1} of ${filled.length} left: ${told.filter(Boolean).join(", ")}`;
  byId("side-accept").hidden = at < 0;
  byId("side-accept-words").textContent = unnamed() ? "Name what was not taught" : ids.length ? "All of these are right" : "Nothing to count here";
  byId("side-previous").disabled = !filled.some((i) => i < app.screen);
  byId("side-next").disabled = at < 0;
  if (at < 0) return end();
  explained = false;
  view.style.setProperty("--head", `${measures().head}px`);
  const had = bench.contains(document.activeElement);
  bench.replaceChildren(...shelves(rows(onScreen()), room()).map((shelf) => h("div", { class: "shelf" }, shelf.blocks.map(block))));
  drawStrip();
  if (had) (bench.querySelector('.crop[aria-pressed="true"]') ?? bench).focus({ preventScroll: true });
  // The next screen's crops, so that a key shows them at once.
  const next = all.slice(app.screen + 1).find(isFilled) ?? [];
  const ahead = new Map(crops().map((one) => [one.id, one]));
  for (const id of next) if (ahead.has(id)) new Image().src = path(ahead.get(id));
}

for (const [name, value] of Object.entries({ "--caption": CAPTION, "--gap": GAP, "--apart": APART })) {
  view.style.setProperty(name, `${value}px`);
}
new ResizeObserver(() => { if (app?.sheet && app.isSide) app.draw(); }).observe(bench);
