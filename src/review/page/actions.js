// What can be done with the sheet and the piece in view, each by its name, and what is asked for it.

import { get } from "./ask.js";
import { choices, NAME_IT } from "./card.js";
import { choose } from "./choose.js";
import { countDialog, finishDialog, groupDialog, helpDialog, sheetsDialog } from "./dialogs.js";
import { byId, h } from "./dom.js";
import { picture, swatch } from "./draw.js";
import * as placing from "./placing.js";
import * as side from "./side.js";
import { thingDialog } from "./thing.js";
import * as words from "./words.js";

let app = null;

export function attach(given) {
  app = given;
  Object.assign(app, { pick, actions });
}

export const current = () => (app.at?.kind === "piece" ? app.piece(app.at.id) : null);

// A form that does not come in the piece's size is drawn in one of its own: a corner is no rectangle.
const shownSize = (form, piece) => (form.sizes.includes(piece.size) || !form.sizes.length ? piece.size : form.sizes[0]);

// What a picker chooses among, in pictures.
const pick = {
  form: (piece) => choose({
    title: "Which form is it?", current: piece.form,
    options: app.vocabulary.forms.map((form) => ({
      value: form.name, label: form.name, picture: picture({ ...piece, form: form.name, size: shownSize(form, piece) }, app.hex(piece.colour)),
    })),
  }),
  size: (piece) => {
    const listed = app.vocabulary.forms.find((form) => form.name === piece.form) ?? app.vocabulary.forms[0];
    return choose({
      title: "Which size is it?", current: piece.size,
      options: listed.sizes.map((size) => ({ value: size, label: words.size(size), picture: picture({ ...piece, size }, app.hex(piece.colour)) })),
    });
  },
  colour: (colour, title, hint) => choose({
    title, hint, current: colour, make: (text) => text,
    options: app.sheet.colours.map(({ name, hex }) => ({ value: name, label: name, picture: swatch(hex) })),
  }),
  face: (piece) => choose({
    title: "How does it lie?", current: piece.face,
    options: app.vocabulary.faces.map((face) => ({ value: face, label: words.face(face) })),
  }),
};

const become = (ids, { form, size, colour }) => ({ what: "change", ids, form, size, colour });

// The pieces that are meant: the one in view, or side by side all that are chosen.
const meant = () => (app.isSide ? side.chosen() : current() ? [current().id] : []);

// What of a piece another reading says differently.
function difference(piece, other) {
  const differs = Object.entries({ form: other.form, size: other.size, colour: other.colour }).filter(([field, value]) => value !== piece[field]);
  return Object.fromEntries(differs);
}

async function pickFor(ask, field) {
  const piece = current();
  if (!piece) return;
  const value = await ask(piece);
  byId("card").focus({ preventScroll: true });
  if (value === null) return;
  const more = { [field]: value };
  const form = field === "form" && app.vocabulary.forms.find((f) => f.name === value);
  // Another form may not come in that size.
  if (form && !form.sizes.includes(piece.size)) {
    const size = await pick.size({ ...piece, form: value });
    if (size === null) return;
    more.size = size;
  }
  const next = app.open.has(piece.id);
  const ids = meant().includes(piece.id) ? meant() : [piece.id];
  await app.act(() => app.piece(piece.id) && { correction: { what: "change", ids, ...more }, next: false }).catch(() => {});
  if (next) byId("card").focus({ preventScroll: true });
}

export const actions = {
  // What the first button says: as a rule, right as it stands. On what was looked at already: on to the next.
  accept: (key) => app.act(() => {
    if (app.sheet.posted !== null) return app.step(1);
    if (app.at?.kind === "spot") return { correction: { what: "accept", spots: [app.at.i] }, next: true };
    const piece = current();
    if (!piece) return actions.finish();
    if (piece.looked_at) return app.step(1);
    const [first] = choices(app, piece);
    if (first === NAME_IT) return void actions.colour();
    return { correction: first === piece ? { what: "accept", ids: [piece.id] } : become([piece.id], first), next: true };
  }, "correct", key).catch(() => {}),
  next: () => app.step(1),
  alternative: (i, key) => app.act(() => {
    const piece = current();
    const other = piece && app.open.has(piece.id) && choices(app, piece)[i + 1];
    if (!other) return null;
    return { correction: other === piece ? { what: "accept", ids: [piece.id] } : become([piece.id], other), next: true };
  }, "correct", key).catch(() => {}),
  form: () => pickFor(pick.form, "form"),
  size: () => pickFor(pick.size, "size"),
  colour: () => pickFor((piece) => pick.colour(piece.colour, "Which colour is it?"), "colour"),
  face: () => pickFor(pick.face, "face"),
  remove: (key) => app.act(() => {
    if (app.isSide && app.at?.kind === "spot") return { correction: { what: "accept", spots: [app.at.i] }, next: true };
    const ids = meant();
    return ids.length > 0 && { correction: { what: "remove", ids }, next: true };
  }, "correct", key).catch(() => {}),
  async split() {
    const piece = current();
    if (!piece) return;
    const cuts = await get(`api/sheet/${app.index}/cuts/${piece.id}`);
    if (!cuts.length) return app.say(`A ${words.size(piece.size)} cannot be split into two listed pieces.`);
    const hex = app.hex(piece.colour);
    const cut = cuts.length === 1 ? 0 : await choose({
      title: "Split into which two?",
      options: cuts.map(({ sizes }, i) => ({
        value: i, label: sizes.map(words.size).join(" + "),
        picture: h("span", { class: "two" }, sizes.map((size) => picture({ ...piece, size }, hex))),
      })),
    });
    if (cut === null) return;
    await app.act(() => ({ correction: { what: "split", id: piece.id, cut } })).catch(() => {});
  },
  join() {
    if (!current() || app.sheet.pieces.length < 2) return;
    app.joining = app.at.id;
    app.draw();
  },
  joinWith(id) {
    const ids = [app.joining, id];
    app.joining = null;
    app.act(() => ({ correction: { what: "join", ids } })).catch(() => {});
  },
  async recolour(from = current()?.colour) {
    if (typeof from !== "string") from = current()?.colour;
    if (!from) return;
    const many = app.sheet.pieces.filter((p) => p.colour === from).length;
    const to = await pick.colour(from, `${words.plural(many, "piece", "pieces")} called ${from}: which colour is it really?`);
    byId("card").focus({ preventScroll: true });
    if (to === null || to === from) return;
    await app.act(() => ({ correction: { what: "recolour", from, to } })).catch(() => {});
    if (!app.open.has(app.at?.id) && app.at?.kind === "piece") app.draw();
  },
  // The box says what is so until the answer is kept.
  onlyTaught: (key) => app.act(() => {
    const { only_taught: yes, open_otherwise: otherwise, posted } = app.sheet;
    if (posted !== null || (otherwise === null && !yes)) return null;
    return { correction: { what: "only-taught", yes: !yes }, next: false };
  }, "correct", key).catch(() => {}),
  // The other view, and back.
  beside() {
    actions.escape();
    if (app.check) return actions.checked();
    app.isSide = !app.isSide;
    if (app.isSide) {
      side.enter();
      app.at = null;
    } else if (!app.at) app.at = app.items()[0] ?? null;
    app.draw();
    byId(app.isSide ? "bench" : "card").focus({ preventScroll: true });
  },
  // A few sure pieces side by side, and back to the end of the sheet.
  check(ids) {
    Object.assign(app, { check: new Set(ids), isSide: true, at: null });
    side.enter();
    app.draw();
    byId("bench").focus({ preventScroll: true });
  },
  checked() {
    Object.assign(app, { check: null, isSide: false, at: app.items()[0] ?? null });
    app.draw();
    actions.finish();
  },
  // Everything on the screen is what it is called; at the end, on to what is left.
  sideAccept: (key) => app.act(() => {
    const { ids: shown, spots } = side.shown();
    const isEmpty = shown.length + spots.length === 0;
    if (app.sheet.posted !== null) return void (isEmpty ? actions.sheets() : side.turn(1));
    if (isEmpty && app.check) return void actions.checked();
    if (isEmpty) return void (app.open.size + app.sheet.spots.length ? actions.beside() : actions.finish());
    const ids = shown.filter((id) => !app.piece(id).looked_at);
    if (ids.length + spots.length === 0) return void side.turn(1);
    const unseen = side.unseen();
    if (unseen) return void app.say(unseen);
    const unnamed = side.unnamed();
    if (unnamed) return void actions.nameThem(unnamed);
    return { correction: { what: "accept", ids, spots, together: true }, next: true };
  }, "correct", key).catch(() => {}),
  // A piece is something else; where several are chosen with it, they become what it becomes.
  move: (id, other, key) => app.act(() => {
    const piece = app.piece(id);
    const ids = meant().includes(id) ? meant() : [id];
    return piece && { correction: become(ids, difference(piece, other)), next: true };
  }, "correct", key).catch(() => {}),
  // All of these are something else.
  become: (ids, other, key) => app.act(() => ({ correction: become(ids, other), next: true }), "correct", key).catch(() => {}),
  // Pieces of a colour that was never taught: what is it called?
  async nameThem({ colour, ids }) {
    const many = words.plural(ids.length, "piece", "pieces");
    const to = await pick.colour(colour, `${many} of a colour that was never taught (${colour}): which is it?`);
    byId("bench").focus({ preventScroll: true });
    if (to !== null) await actions.become(ids, { colour: to });
  },
  // What cannot be laid beside others stays as it was counted, with its doubt; nothing that was only passed over does.
  takeRest: (key) => app.act(() => {
    if (app.sheet.posted !== null || !side.isThrough()) return null;
    const [ids, spots] = [[...app.open], app.sheet.spots.map((_, i) => i)];
    return ids.length + spots.length > 0 && { correction: { what: "take-as-counted", ids, spots }, next: true };
  }, "correct", key).catch(() => {}),
  // One piece by itself.
  alone() {
    if (!app.at) return;
    app.isSide = false;
    app.draw();
    byId("card").focus({ preventScroll: true });
  },
  group: (group) => groupDialog(app, group),
  count: () => countDialog(app),
  add() {
    if (!app.sheet.has_tray) return app.say("This sheet does not say where its card lies, so no piece can be added; count the photo again.");
    if (app.isSide) {
      // A piece is placed in the photo.
      if (app.at?.kind !== "spot") return;
      actions.alone();
    }
    if (app.at?.kind === "spot" && !app.adding) {
      const spot = app.sheet.spots[app.at.i];
      const r = Math.max(spot.r * 1.3, 30);
      return placing.propose(app, [spot.x - r, spot.y - r, spot.x + r, spot.y + r], app.at.i);
    }
    app.add(!app.adding);
    if (!app.adding) app.say("");
  },
  // What no list of shapes has yet: the piece or the place in view is one.
  thing() {
    const at = app.at?.kind === "spot" ? app.sheet.spots[app.at.i] : current();
    if (!at || app.isSide || app.sheet.posted !== null) return;
    if (!app.sheet.has_tray) return app.say("This sheet does not say where its card lies, so nothing can be traced; count the photo again.");
    thingDialog(app, app.at.kind === "spot" ? [at.x, at.y] : [at.x_px, at.y_px]);
  },
  undo: (key) => app.act(() => app.sheet.undo && {}, "undo", key).catch(() => {}),
  redo: (key) => app.act(() => app.sheet.redo && {}, "redo", key).catch(() => {}),
  all() {
    app.all = !app.all;
    if (!app.at || app.place() < 0) app.at = app.items()[0] ?? null;
    app.draw();
  },
  sheets: () => { sheetsDialog(app).catch((error) => app.say(error.message)); },
  finish: () => { finishDialog(app).catch((error) => app.say(error.message)); },
  help: helpDialog,
  escape() {
    placing.cancel();
    app.joining = null;
    app.add(false);
    app.say("");
    app.draw();
    byId("card").focus({ preventScroll: true });
  },
};
