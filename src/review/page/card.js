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

// A piece of that kind, or at least that colour, which is beyond doubt: to compare with.
function example(app, kind, not) {
  const sure = app.sheet.pieces.filter((p) => p.id !== not && p.colour === kind.colour && !app.open.has(p.id));
  return sure.find((p) => p.form === kind.form && p.size === kind.size) ?? sure[0];
}

function crop(app, piece, className, around) {
  const area = closeUp(piece.outline_px, around);
  return h("img", { class: className, src: cropPath(app.index, area), alt: "", decoding: "async" });
}

function choice(app, piece, kind, key, note, onclick, isGuess) {
  const like = example(app, kind, piece.id);
  return h("button", {
    type: "button", class: `choice${isGuess ? " guess" : ""}`, "aria-keyshortcuts": key, onclick,
  },
  h("span", { class: "choice-pictures" }, picture(kind, app.hex(kind.colour)), like && crop(app, like, "like", 1.25)),
  h("span", { class: "choice-words" },
    h("span", { class: "choice-kind" }, words.piece(kind)), h("span", { class: "choice-colour" }, kind.colour),
    note && h("span", { class: "choice-note" }, note)),
  h("kbd", {}, key));
}

function head(app, title, place) {
  return h("div", { class: "card-head" },
    h("button", { type: "button", class: "quiet step", "aria-label": "Previous", "aria-keyshortcuts": "ArrowLeft", onclick: () => app.step(-1) }, "‹"),
    h("div", { class: "card-title" }, h("h2", {}, title), h("p", { class: "place" }, place)),
    h("button", { type: "button", class: "quiet step", "aria-label": "Next", "aria-keyshortcuts": "ArrowRight", onclick: () => app.step(1) }, "›"));
}

function closeLook(app, outline, alt) {
  const area = closeUp(outline);
  const figure = h("div", { class: "close-look" },
    h("img", { src: cropPath(app.index, area), alt, decoding: "async" }),
    s("svg", { viewBox: `${area.left} ${area.top} ${area.side} ${area.side}`, "aria-hidden": "true" },
      s("polygon", { points: outline.map((p) => p.join()).join(" "), class: "hint-line" })));
  return figure;
}

function tools(app, piece) {
  const act = app.actions;
  const many = app.sheet.pieces.filter((p) => p.colour === piece.colour).length;
  return h("div", { class: "tools", role: "group", "aria-label": "Put this piece right" },
    keyButton("Form", "f", act.form), keyButton("Size", "z", act.size),
    keyButton("Colour", "c", act.colour), keyButton("Face", "v", act.face),
    keyButton("Split", "s", act.split), keyButton("Join", "j", act.join),
    keyButton("Remove", "x", act.remove, { class: "danger" }),
    keyButton(many > 1 ? `All ${many} of this colour…` : "This colour is…", "r", act.recolour, { class: "wide" }));
}

function pieceCard(app, piece) {
  const isOpen = app.open.has(piece.id);
  const guess = app.sheet.guess[piece.id];
  const others = isOpen ? alternatives(app, piece) : [];
  const sure = piece.looked_at ? "you looked" : `${words.percent(piece.sure)} sure`;
  const why = isOpen ? piece.doubts.join("; ") || "not sure enough to count unseen" : "";
  const accept = isOpen || !piece.looked_at;
  return [
    head(app, `Piece ${piece.id}`, app.where()),
    h("div", { class: "look" },
      closeLook(app, piece.outline_px, `Piece ${piece.id}, close`),
      h("div", { class: "look-words" },
        h("p", { class: isOpen ? "why open" : "why" }, isOpen ? why : piece.looked_at ? "You looked at this one." : `Counted as sure: ${words.percent(piece.sure)}.`),
        h("p", { class: "face" }, words.face(piece.face)),
        guess && h("p", { class: "was" }, `Was counted as ${words.kind(guess)}${guess.face === piece.face ? "" : `, ${words.face(guess.face)}`}.`))),
    h("div", { class: `choices${[piece, ...others].some((kind) => example(app, kind, piece.id)) ? " compared" : ""}`, role: "group", "aria-label": "What is it?" },
      choice(app, piece, piece, "Enter", accept ? sure : "on to the next", accept ? app.actions.accept : app.actions.next, true),
      others.map((other, i) => choice(app, piece, other, String(i + 1),
        other.sure === undefined ? "" : words.percent(other.sure), () => app.actions.alternative(i)))),
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
        h("p", { class: "why open" }, `About ${Math.round(spot.area_mm2)} mm² here fit no listed piece.`),
        h("p", {}, "Is it a piece that was missed, or nothing to count (the tray's rim, a shadow, another thing)?"))),
    h("div", { class: "spot-buttons" },
      keyButton("Nothing to count", "Enter", app.actions.accept, { class: "primary" }),
      keyButton("A piece lies here", "a", app.actions.add)),
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
    if (piece) new Image().src = cropPath(app.index, closeUp(piece.outline_px));
  }
}
