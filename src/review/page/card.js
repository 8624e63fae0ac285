// The card: what to look at now, the guess and what it could be instead.

import { byId, h, keyButton, s } from "./dom.js";
import { bounds, closeUp, cropPath, picture } from "./draw.js";
import * as words from "./words.js";

const card = byId("card");

// What a piece can be chosen to be by one key: what the count says, and where its form
// cannot be told every form of that size.
export function alternatives(app, piece) {
  const others = piece.instead.map((other) => ({ ...other, face: piece.face }));
  if (piece.form === "any") {
    for (const form of app.vocabulary.forms) {
      if (form.sizes.includes(piece.size)) {
        others.push({ form: form.name, size: piece.size, colour: piece.colour, face: piece.face });
      }
    }
  }
  const key = (p) => `${p.form} ${p.size} ${p.colour}`;
  const own = key(piece);
  const seen = new Set([own]);
  return others.filter((other) => !seen.has(key(other)) && seen.add(key(other))).slice(0, 9);
}

// Whether its colour is none of those taught: it has a general name until a person says more.
const isNew = (app, piece) => app.open.has(piece.id) && piece.doubts.includes(app.vocabulary.new_colour);

// How many pieces of these have such a colour.
export const newColours = (app, ids) => ids.filter((id) => isNew(app, app.piece(id))).length;

// Likeliest first; the guess before what is as likely, and what has no number last.
const byLikelihood = (kinds) => kinds.toSorted((a, b) => (b.sure ?? -1) - (a.sure ?? -1));

// The buttons of a piece from the top: Enter is the first of them, 1 the second, and so on. The likeliest comes
// first, which is the guess, but of a new colour neither the general name nor a taught one does, as none is likely enough to be
// taken unawares: first comes the question what it is called, then the taught ones that it may be, likeliest first.
export function choices(app, piece) {
  const others = app.open.has(piece.id) ? alternatives(app, piece) : [];
  if (!isNew(app, piece)) return byLikelihood([piece, ...others]);
  const taught = others.filter((other) => other.colour !== piece.colour);
  const general = others.filter((other) => other.colour === piece.colour);
  return [NAME_IT, ...taught.slice(0, 8), piece, ...general].slice(0, 10);
}

// Stands among the choices where the colour has to be named.
export const NAME_IT = { name: true };

// A piece of that kind, or at least that colour, which is beyond doubt: to compare with.
function example(app, kind, not) {
  const sure = app.sheet.pieces.filter((p) => p.id !== not && p.colour === kind.colour && !app.open.has(p.id));
  return sure.find((p) => p.form === kind.form && p.size === kind.size) ?? sure[0];
}

function crop(app, piece, className, around) {
  const area = closeUp(app.sheet.photos[0], piece.outline_px, around);
  return h("img", { class: className, src: cropPath(app.index, 1, area), alt: "", decoding: "async" });
}

function choice(app, piece, kind, at, taughtToo) {
  const key = at === 0 ? "Enter" : String(at);
  const attributes = {
    type: "button", class: `choice${at === 0 ? " first" : ""}${kind === piece ? " guess" : ""}`, "aria-keyshortcuts": key,
    onclick: at === 0 ? app.actions.accept : () => app.actions.alternative(at - 1),
  };
  if (kind === NAME_IT) {
    return h("button", attributes, h("span", { class: "choice-pictures" }, picture(piece, app.hex(piece.colour))),
      h("span", { class: "choice-words" }, h("span", { class: "choice-kind" }, "Name this colour…"),
        h("span", { class: "choice-note" }, taughtToo ? "or take one of these" : "no taught one is likely")), h("kbd", {}, key));
  }
  const like = example(app, kind, piece.id);
  const note = noteOn(app, piece, kind);
  return h("button", attributes,
  h("span", { class: "choice-pictures" }, picture(kind, app.hex(kind.colour)), like && crop(app, like, "like", 1.25)),
  h("span", { class: "choice-words" },
    h("span", { class: "choice-kind" }, words.piece(kind)), h("span", { class: "choice-colour" }, kind.colour),
    note && h("span", { class: "choice-note" }, note)),
  h("kbd", {}, key));
}

// How likely a choice is, and what it is where the colour is new.
function noteOn(app, piece, kind) {
  const general = isNew(app, piece) && kind.colour === piece.colour && "general name";
  const likely = kind !== piece ? kind.sure !== undefined && words.percent(kind.sure)
    : piece.looked_at ? "on to the next" : `${words.percent(piece.sure)} sure`;
  return [general, likely].filter(Boolean).join(", ");
}

function head(app, title, place) {
  return h("div", { class: "card-head" },
    h("button", { type: "button", class: "quiet step", "aria-label": "Previous", "aria-keyshortcuts": "ArrowLeft", onclick: () => app.step(-1) }, "‹"),
    h("div", { class: "card-title" }, h("h2", {}, title), h("p", { class: "place" }, place)),
    h("button", { type: "button", class: "quiet step", "aria-label": "Next", "aria-keyshortcuts": "ArrowRight", onclick: () => app.step(1) }, "›"));
}

export function closeLook(app, outline, alt, number = 1) {
  const area = closeUp(app.sheet.photos[number - 1], outline);
  return h("div", { class: "close-look" },
    h("img", { src: cropPath(app.index, number, area), alt, decoding: "async" }),
    s("svg", { viewBox: `${area.left} ${area.top} ${area.side} ${area.side}`, "aria-hidden": "true" },
      s("polygon", { points: outline.map((p) => p.join()).join(" "), class: "hint-line" })));
}

// More photos than this are not laid side by side: the crops would be too small to tell anything by.
const CLOSE_LOOKS = 3;

// A piece close by in the photos that have its place, the one that is shown first among them.
function closeLooks(app, piece) {
  const places = app.placesOf(piece);
  if (places.length === 1) return closeLook(app, places[0].outline_px, `Piece ${piece.id}, close`, places[0].photo);
  const shown = places.slice(0, CLOSE_LOOKS);
  const at = places.findIndex((place) => place.photo === app.photo);
  if (at >= CLOSE_LOOKS) shown.splice(-1, 1, places[at]);
  return h("div", { class: "close-looks" }, shown.map((place) => h("button", {
    type: "button", class: `close-look-of${place.photo === app.photo ? " shown" : ""}`,
    "aria-current": place.photo === app.photo ? "true" : null, onclick: () => app.flipTo(place.photo),
  }, closeLook(app, place.outline_px, `Piece ${piece.id} in photo ${place.photo}, close`, place.photo),
  h("span", {}, place.isSeen ? `photo ${place.photo}` : `photo ${place.photo}: hidden`))));
}

function tools(app, piece) {
  const act = app.actions;
  const many = app.sheet.pieces.filter((p) => p.colour === piece.colour).length;
  return h("div", { class: "tools", role: "group", "aria-label": "Put this piece right" },
    keyButton("Form", "f", act.form), keyButton("Size", "z", act.size),
    keyButton("Colour", "c", act.colour), keyButton("Face", "v", act.face),
    keyButton("Split", "s", act.split), keyButton("Join", "j", act.join),
    keyButton("Remove", "x", act.remove, { class: "danger" }),
    keyButton("My own shape…", "o", act.thing, { class: "own" }),
    keyButton(many > 1 ? `All ${many} of this colour…` : "This colour is…", "r", act.recolour, { class: "wide" }));
}

function pieceCard(app, piece) {
  const isOpen = app.open.has(piece.id);
  const guess = app.sheet.guess[piece.id];
  const kinds = choices(app, piece);
  const fresh = isNew(app, piece);
  const taughtToo = kinds.some((kind) => kind !== NAME_IT && kind.colour !== piece.colour);
  const doubts = piece.doubts.filter((doubt) => doubt !== app.vocabulary.new_colour);
  const why = [fresh && "This colour was never taught", ...doubts].filter(Boolean).join("; ") || "not sure enough to count unseen";
  return [
    head(app, `Piece ${piece.id}`, app.where()),
    h("div", { class: app.placesOf(piece).length > 1 ? "look several" : "look" },
      closeLooks(app, piece),
      h("div", { class: "look-words" },
        h("p", { class: isOpen ? "why open" : "why" }, isOpen ? why : piece.looked_at ? "You looked at this one." : piece.as_counted ? `Taken as counted: ${words.percent(piece.sure)} sure.` : `Counted as sure: ${words.percent(piece.sure)}.`),
        h("p", { class: "face" }, words.face(piece.face)),
        guess && h("p", { class: "was" }, `Was counted as ${words.kind(guess)}${guess.face === piece.face ? "" : `, ${words.face(guess.face)}`}.`))),
    fresh && h("p", { class: "hint", id: "new-colour" }, taughtToo
      ? "Give it a name of yours, or take a taught colour that it may be, likeliest first."
      : "Give it a name of yours, or keep the general one."),
    h("div", {
      class: `choices${kinds.some((kind) => example(app, kind, piece.id)) ? " compared" : ""}${kinds.length > 2 ? " many" : ""}`,
      role: "group", "aria-label": "What is it?", "aria-describedby": fresh && "new-colour",
    }, kinds.map((kind, at) => choice(app, piece, kind, at, taughtToo))),
    tools(app, piece),
  ];
}

function spotCard(app, i) {
  const spot = app.sheet.spots[i];
  const r = Math.max(spot.r, 20);
  const around = [[spot.x - r, spot.y - r], [spot.x + r, spot.y - r], [spot.x + r, spot.y + r], [spot.x - r, spot.y + r]];
  return [
    head(app, "Something unexplained", app.where()),
    h("div", { class: "look" },
      closeLook(app, around, "The place, close"),
      h("div", { class: "look-words" },
        h("p", { class: "why open" }, `Something of about ${words.thing(spot)}: no listed piece fits.`),
        h("p", {}, "Is it a piece that was missed, a shape that no list has yet, or nothing to count (the tray's rim, a shadow, another thing)?"))),
    h("div", { class: "spot-buttons" },
      keyButton("Nothing to count", "Enter", app.actions.accept, { class: "primary" }),
      keyButton("A piece lies here", "a", app.actions.add),
      keyButton("A shape of my own…", "o", app.actions.thing)),
  ];
}

function joinCard(app) {
  const first = app.piece(app.joining);
  const near = neighbours(app, first);
  return [
    h("div", { class: "card-head" }, h("div", { class: "card-title" }, h("h2", {}, `Join piece ${first.id} with…`),
      h("p", { class: "place" }, "Press a number, or point at it in the photo."))),
    h("div", { class: "near" }, near.map((piece, i) => h("button", { type: "button", class: "choice", onclick: () => app.actions.joinWith(piece.id) },
      crop(app, piece, "near-crop", 1.6), h("span", { class: "choice-words" },
        h("span", { class: "choice-kind" }, `${piece.id}: ${words.piece(piece)}`), h("span", { class: "choice-colour" }, piece.colour)),
      h("kbd", {}, String(i + 1))))),
    h("div", { class: "spot-buttons" }, keyButton("Cancel", "Esc", app.actions.escape)),
  ];
}

// The nearest pieces, by the distance between their outlines' middles less their sizes.
export function neighbours(app, first) {
  const radius = (p) => { const b = bounds(p.outline_px); return Math.hypot(b.width, b.height) / 2; };
  const gap = (p) => Math.hypot(p.x_px - first.x_px, p.y_px - first.y_px) - radius(p);
  return app.sheet.pieces.filter((p) => p.id !== first.id).sort((a, b) => gap(a) - gap(b)).slice(0, 4);
}

function doneCard(app) {
  const { sheet } = app;
  const posted = sheet.posted;
  return [
    h("div", { class: "done" },
      s("svg", { class: "done-mark", viewBox: "0 0 48 48", "aria-hidden": "true" },
        s("circle", { cx: 24, cy: 24, r: 22 }), s("path", { d: "M14 25l7 7 14-16" })),
      h("h2", {}, posted ? "This sheet is in the stock" : "Nothing left to look at"),
      h("p", {}, `${words.plural(sheet.total, "piece", "pieces")} in ${words.groups(sheet)}.`),
      posted ? h("p", {}, `Posted as checked by entry ${posted}. To change it, undo that entry first.`)
        : h("p", {}, "Choose any outline in the photo to look at it again.")),
    h("div", { class: "spot-buttons" },
      posted ? keyButton(app.sheets.length > 1 ? "Other sheets" : "Close the review", "Enter", app.actions.sheets, { class: "primary" })
        : keyButton("Finish this sheet", "Enter", app.actions.finish, { class: "primary" }),
      keyButton("Look through all pieces", "l", app.actions.all)),
  ];
}

export function drawCard(app) {
  const had = card.contains(document.activeElement);
  const at = app.at;
  const content = app.joining !== null ? joinCard(app)
    : at?.kind === "piece" ? pieceCard(app, app.piece(at.id))
    : at?.kind === "spot" ? spotCard(app, at.i) : doneCard(app);
  card.replaceChildren(...content.flat(Infinity).filter(Boolean));
  if (had) card.focus({ preventScroll: true });
  // The next two crops, so that a key shows them at once.
  for (const item of app.ahead(2)) {
    const piece = item.kind === "piece" && app.piece(item.id);
    for (const place of piece ? app.placesOf(piece).slice(0, CLOSE_LOOKS) : []) {
      new Image().src = cropPath(app.index, place.photo, closeUp(app.sheet.photos[place.photo - 1], place.outline_px));
    }
  }
}
