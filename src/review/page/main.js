// The page: which sheet, what to look at now, and what each key does.

import { AskError, get, inTurn, post } from "./ask.js";
import { choices, drawCard, NAME_IT, neighbours } from "./card.js";
import { choose } from "./choose.js";
import { byId, h, s } from "./dom.js";
import { countDialog, finishDialog, groupDialog, helpDialog, sheetsDialog } from "./dialogs.js";
import { cutFrom, learn, picture, swatch } from "./draw.js";
import * as placing from "./placing.js";
import * as side from "./side.js";
import * as stage from "./stage.js";
import { drawTotals } from "./totals.js";
import * as words from "./words.js";

// How often to see whether another window or program changed the sheet, ms.
const LOOK_AGAIN = 1000;

const app = {
  vocabulary: null, sheets: [], index: 0, sheet: null,
  open: new Set(), colours: new Map(),
  at: null, all: false, joining: null, adding: false, over: false,
  // Side by side, and which screen of it.
  isSide: false, screen: 0,
  // The pieces of a spot check, while it is made.
  check: null,

  hex: (colour) => app.colours.get(colour) ?? "#9a9a9a",
  piece: (id) => app.sheet.pieces.find((p) => p.id === id),
  cardTurn: () => app.sheet.card_turn,

  // What there is to look at, in order: doubtful pieces, then what nothing explains.
  items() {
    const pieces = app.sheet.pieces.filter((p) => app.all || app.open.has(p.id));
    return [...pieces.map((p) => ({ kind: "piece", id: p.id })), ...app.sheet.spots.map((_, i) => ({ kind: "spot", i }))];
  },
  place() {
    return app.items().findIndex((item) => same(item, app.at));
  },
  where() {
    const items = app.items();
    const at = app.place();
    if (at < 0) return items.length ? `${items.length} left to look at` : "nothing left to look at";
    return `${at + 1} of ${items.length}${app.all ? "" : " to look at"}`;
  },
  ahead(n) {
    const at = app.place();
    return app.items().slice(at + 1, at + 1 + n);
  },
  goTo(id) {
    app.at = { kind: "piece", id };
    app.draw();
  },
  step(by) {
    const items = app.items();
    if (!items.length) { app.at = null; return app.draw(); }
    let at = app.place();
    // From a piece that is not in the queue, to the next that is after it on the sheet.
    if (at < 0) at = by > 0 ? -1 : items.length;
    app.at = items[(at + by + items.length) % items.length];
    app.draw();
  },

  say(text, isWrong = true) {
    const message = byId("message");
    message.textContent = text;
    message.hidden = !text;
    message.classList.toggle("wrong", isWrong);
  },

  draw(fresh = false) {
    const { sheet } = app;
    byId("left").textContent = leftWords();
    const looked = sheet.pieces.filter((p) => p.looked_at).length;
    const bar = byId("progress");
    bar.max = looked + app.open.size + sheet.spots.length || 1;
    bar.value = app.open.size + sheet.spots.length ? looked : bar.max;
    for (const [id, what] of [["undo", sheet.undo], ["redo", sheet.redo]]) {
      byId(id).disabled = !what || sheet.posted !== null;
      byId(id).title = what ? `${id === "undo" ? "Undo" : "Redo"} ${words.step(what)}` : "";
    }
    byId("beside").setAttribute("aria-pressed", String(app.isSide));
    byId("side-view").hidden = !app.isSide;
    byId("work").hidden = app.isSide;
    if (app.isSide) return side.drawSide();
    stage.draw(sheet, app.open);
    stage.mark(marked());
    if (!placing.placing()) drawCard(app);
    drawTotals(app, fresh);
  },

  // Changes the sheet; `make` says what, when its turn comes. What is shown afterwards
  // is what then lies on the disk.
  act(make, verb = "correct", key = undefined) {
    // When the key was pressed or the button pointed at, where that is known.
    const began = key?.timeStamp ?? key ?? performance.now();
    return inTurn(async () => {
      const asked = make();
      if (!asked) return;
      kept("Keeping…");
      try {
        const at = app.place();
        const before = app.sheet;
        const body = verb === "correct" ? { version: before.version, correction: asked.correction } : { version: before.version };
        take(await post(`api/sheet/${app.index}/${verb}`, body));
        if (app.isSide) side.follow(before, asked.next !== false);
        else if (asked.next) follow(at);
        else stay(before);
        kept(`Kept ${new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" })}`);
        app.say("");
      } catch (error) {
        kept("");
        app.say(error.message);
        if (error instanceof AskError && error.stale) await refresh();
        throw error;
      } finally {
        app.draw();
        // For whoever measures: from the key to the page being drawn anew.
        document.body.getBoundingClientRect();
        performance.measure("action", { start: began, end: performance.now() });
      }
    });
  },

  async finish(wish) {
    let answer;
    await inTurn(async () => {
      try {
        answer = await post(`api/sheet/${app.index}/finish`, { version: app.sheet.version, ...wish });
      } catch (error) {
        if (error.stale) await refresh();
        throw error;
      }
      take(await get(`api/sheet/${app.index}`));
      app.draw();
    });
    return answer;
  },

  async openSheet(index) {
    placing.cancel();
    Object.assign(app, { index, joining: null, all: false, sheet: null, isSide: false, check: null });
    add(false);
    app.sheets = (await get("api/start")).sheets;
    take(await get(`api/sheet/${index}`));
    app.at = app.items()[0] ?? null;
    cutFrom(app.sheet.width_px, app.sheet.height_px);
    stage.show(index, app.sheet);
    const line = app.sheets[index];
    document.querySelector(".sheet-file").textContent = app.sheet.file;
    document.querySelector(".sheet-place").textContent = [app.sheet.place, app.sheets.length > 1 && `sheet ${index + 1} of ${app.sheets.length}`].filter(Boolean).join(" · ");
    kept(line.standing.is === "checked" ? "In the stock" : "");
    app.draw(true);
    byId("card").focus({ preventScroll: true });
    document.body.dataset.ready = index;
  },

  ended() {
    app.over = true;
    document.body.replaceChildren(h("main", { class: "over" },
      h("h1", {}, "The review is closed"), h("p", {}, "Everything is kept. You can close this window.")));
  },

  overlay: (viewBox, outline) => s("svg", { viewBox, "aria-hidden": "true" },
    s("polygon", { points: outline.map((p) => p.join()).join(" "), class: "hint-line" })),
};

side.attach(app);

const same = (a, b) => a && b && a.kind === b.kind && a.id === b.id && a.i === b.i;

function leftWords() {
  const [pieces, spots] = [app.open.size, app.sheet.spots.length];
  if (app.sheet.posted !== null) return "posted as checked";
  if (!pieces && !spots) return "nothing left to look at";
  const parts = [pieces && words.plural(pieces, "piece", "pieces"), spots && words.plural(spots, "place", "places")];
  return `${parts.filter(Boolean).join(", ")} left`;
}

function marked() {
  if (app.joining !== null) return { outline: app.piece(app.joining).outline_px };
  if (app.at?.kind === "piece") return { outline: app.piece(app.at.id).outline_px };
  return app.at?.kind === "spot" ? app.sheet.spots[app.at.i] : null;
}

function kept(text) {
  byId("kept").textContent = text;
}

function take(sheet) {
  // A sheet leaves out what is empty.
  for (const piece of sheet.pieces) {
    piece.instead ??= [];
    piece.doubts ??= [];
  }
  app.sheet = sheet;
  app.open = new Set(sheet.open);
  app.colours = new Map(sheet.colours.map((colour) => [colour.name, colour.hex]));
  if (app.joining !== null && !app.piece(app.joining)) app.joining = null;
}

// On to what now stands where the last one stood.
function follow(at) {
  const items = app.items();
  app.at = items[Math.min(Math.max(at, 0), items.length - 1)] ?? null;
}

// Keeps the piece in view; where it is gone, whatever came in its stead.
function stay(before) {
  if (app.at?.kind === "spot") {
    if (app.sheet.spots.length !== before.spots.length) follow(app.sheet.pieces.length ? app.open.size + app.at.i : app.at.i);
    return;
  }
  if (app.at && app.piece(app.at.id)) return;
  const known = new Set(before.pieces.map((p) => p.id));
  const fresh = app.sheet.pieces.find((p) => !known.has(p.id));
  if (fresh) app.at = { kind: "piece", id: fresh.id };
  else follow(0);
}

// Shows the sheet as it lies on the disk by now.
async function refresh() {
  const before = app.sheet;
  take(await get(`api/sheet/${app.index}`));
  if (app.isSide) side.follow(before, false);
  else stay(before);
  app.draw();
}

async function lookAgain() {
  if (app.over || !app.sheet || document.hidden) return;
  try {
    const { version } = await get(`api/sheet/${app.index}/version`);
    await inTurn(async () => { if (app.sheet && version !== app.sheet.version) await refresh(); });
    if (byId("message").dataset.gone) { app.say(""); delete byId("message").dataset.gone; }
  } catch (error) {
    if (error.gone) byId("message").dataset.gone = "yes";
    app.say(error.message);
  }
}

function add(on) {
  app.adding = on;
  byId("add").setAttribute("aria-pressed", String(on));
  stage.setTool(on ? "add" : "look");
  if (on) app.say("Drag a rectangle around the piece, or press Enter to place it with the arrow keys.", false);
}

const current = () => (app.at?.kind === "piece" ? app.piece(app.at.id) : null);

// A correction of the piece in view, if there is one when its turn comes.
const onPiece = (make, next = false) => (key) => app.act(() => {
  const piece = current();
  return piece && { correction: make(piece), next };
}, "correct", key).catch(() => {});

// A form that does not come in the piece's size is drawn in one of its own: a corner is no rectangle.
const shownSize = (form, piece) => (form.sizes.includes(piece.size) || !form.sizes.length ? piece.size : form.sizes[0]);

// What a picker chooses among, in pictures.
app.pick = {
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

const become = (piece, { form, size, colour }) => ({ what: "change", id: piece.id, form, size, colour });

async function pickFor(pick, field) {
  const piece = current();
  if (!piece) return;
  const value = await pick(piece);
  byId("card").focus({ preventScroll: true });
  if (value === null) return;
  const more = { [field]: value };
  const form = field === "form" && app.vocabulary.forms.find((f) => f.name === value);
  // Another form may not come in that size.
  if (form && !form.sizes.includes(piece.size)) {
    const size = await app.pick.size({ ...piece, form: value });
    if (size === null) return;
    more.size = size;
  }
  const next = app.open.has(piece.id);
  await app.act(() => app.piece(piece.id) && { correction: { what: "change", id: piece.id, ...more }, next: false }).catch(() => {});
  if (next) byId("card").focus({ preventScroll: true });
}

app.actions = {
  // What the first button says: as a rule, right as it stands. On what was looked at already: on to the next.
  accept: (key) => app.act(() => {
    if (app.sheet.posted !== null) return app.step(1);
    if (app.at?.kind === "spot") return { correction: { what: "accept", spots: [app.at.i] }, next: true };
    const piece = current();
    if (!piece) return app.actions.finish();
    if (piece.looked_at) return app.step(1);
    const [first] = choices(app, piece);
    if (first === NAME_IT) return void app.actions.colour();
    return { correction: first === piece ? { what: "accept", ids: [piece.id] } : become(piece, first), next: true };
  }, "correct", key).catch(() => {}),
  next: () => app.step(1),
  alternative: (i, key) => app.act(() => {
    const piece = current();
    const other = piece && app.open.has(piece.id) && choices(app, piece)[i + 1];
    if (!other) return null;
    return { correction: other === piece ? { what: "accept", ids: [piece.id] } : become(piece, other), next: true };
  }, "correct", key).catch(() => {}),
  form: () => pickFor(app.pick.form, "form"),
  size: () => pickFor(app.pick.size, "size"),
  colour: () => pickFor((piece) => app.pick.colour(piece.colour, "Which colour is it?"), "colour"),
  face: () => pickFor(app.pick.face, "face"),
  remove: onPiece((piece) => ({ what: "remove", ids: [piece.id] }), true),
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
    const to = await app.pick.colour(from, `${words.plural(many, "piece", "pieces")} called ${from}: which colour is it really?`);
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
    const ids = side.shown().filter((id) => !app.piece(id).looked_at);
    if (app.sheet.posted !== null) return void (side.shown().length ? side.turn(1) : actions.sheets());
    if (!side.shown().length && app.check) return void actions.checked();
    if (!side.shown().length) return void (app.open.size + app.sheet.spots.length ? actions.beside() : actions.finish());
    if (!ids.length) return void side.turn(1);
    const unseen = side.unseen();
    if (unseen) return void app.say(unseen);
    return { correction: { what: "accept", ids, together: true }, next: true };
  }, "correct", key).catch(() => {}),
  // One piece is something else.
  move: (id, other, key) => app.act(() => {
    const piece = app.piece(id);
    return piece && { correction: become(piece, other), next: true };
  }, "correct", key).catch(() => {}),
  // One piece by itself.
  alone() {
    if (!current()) return;
    app.isSide = false;
    app.draw();
    byId("card").focus({ preventScroll: true });
  },
  group: (group) => groupDialog(app, group),
  count: () => countDialog(app),
  add() {
    if (!app.sheet.has_tray) return app.say("This sheet does not say where its card lies, so no piece can be added; count the photo again.");
    if (app.at?.kind === "spot" && !app.adding) {
      const spot = app.sheet.spots[app.at.i];
      const r = Math.max(spot.r * 1.3, 30);
      return placing.propose(app, [spot.x - r, spot.y - r, spot.x + r, spot.y + r], app.at.i);
    }
    add(!app.adding);
    if (!app.adding) app.say("");
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
    add(false);
    app.say("");
    app.draw();
    byId("card").focus({ preventScroll: true });
  },
};

const { actions } = app;
const KEYS = {
  f: actions.form, z: actions.size, c: actions.colour, v: actions.face, x: actions.remove, Delete: actions.remove,
  s: actions.split, j: actions.join, r: () => actions.recolour(), a: actions.add, g: actions.count,
  u: actions.undo, y: actions.redo, l: actions.all, m: actions.sheets, p: actions.finish, t: actions.onlyTaught, "?": actions.help,
  b: actions.beside,
  ArrowLeft: () => app.step(-1), ArrowRight: () => app.step(1),
  "+": () => stage.zoom(1.5), "=": () => stage.zoom(1.5), "-": () => stage.zoom(1 / 1.5), 0: () => stage.fit(),
  Escape: actions.escape,
};
const PLACING = { f: placing.choices.form, z: placing.choices.size, c: placing.choices.colour, v: placing.choices.face, Escape: actions.escape };
const PAN = { ArrowLeft: [-0.2, 0], ArrowRight: [0.2, 0], ArrowUp: [0, -0.2], ArrowDown: [0, 0.2] };

function onKey(event) {
  if (!app.sheet || document.querySelector("dialog[open]") || event.altKey) return;
  const started = event.timeStamp;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (event.ctrlKey || event.metaKey) {
    if (key !== "z" && key !== "y") return;
    event.preventDefault();
    return void (key === "y" || event.shiftKey ? actions.redo(started) : actions.undo(started));
  }
  const focused = document.activeElement;
  // On a crop Enter means all of them, as the button says: the crop is chosen already.
  const onControl = !focused?.closest(".crop") && focused?.closest("button, summary, input, select") && (event.key === "Enter" || event.key === " ");
  if (onControl) return;
  const heard = (() => {
    if (placing.placing()) {
      if (event.key === "Enter") return placing.add().catch(() => {}), true;
      if (placing.key(event)) return true;
      return PLACING[key] ? (PLACING[key](), true) : /^[a-z]$/.test(key);
    }
    if (app.joining !== null && /^[1-9]$/.test(key)) {
      const other = neighbours(app, app.piece(app.joining))[key - 1];
      return other ? (actions.joinWith(other.id), true) : false;
    }
    if (app.adding && event.key === "Enter") {
      const [x, y] = stage.middle();
      add(false);
      return placing.propose(app, [x, y, x, y]), true;
    }
    if (app.isSide) return onSideKey(event, key, started);
    if (event.shiftKey && PAN[event.key]) return stage.pan(...PAN[event.key]), true;
    if (event.key === "Enter" || event.key === " ") return actions.accept(started), true;
    if (/^[1-9]$/.test(key)) return actions.alternative(key - 1, started), true;
    return KEYS[key] ? (KEYS[key](started), true) : false;
  })();
  if (heard) event.preventDefault();
}

const SIDE = {
  PageDown: () => side.turn(1), PageUp: () => side.turn(-1), ".": () => side.turn(1), ",": () => side.turn(-1),
  ArrowLeft: () => side.go("ArrowLeft"), ArrowRight: () => side.go("ArrowRight"), ArrowUp: () => side.go("ArrowUp"), ArrowDown: () => side.go("ArrowDown"),
  o: actions.alone, Escape: () => side.select(null),
  f: actions.form, z: actions.size, c: actions.colour, v: actions.face, x: actions.remove, Delete: actions.remove, s: actions.split,
  r: () => actions.recolour(), b: actions.beside, u: actions.undo, y: actions.redo, l: actions.all, m: actions.sheets, p: actions.finish, t: actions.onlyTaught, "?": actions.help,
};

function onSideKey(event, key, started) {
  if (event.key === "Enter") return actions.sideAccept(started), true;
  if (/^[1-9]$/.test(key)) {
    const piece = current();
    const other = piece && side.choices(piece)[key - 1];
    return other ? (actions.move(piece.id, other, started), true) : false;
  }
  return SIDE[key] ? (SIDE[key](started), true) : false;
}

stage.listen({
  piece(id) {
    if (app.joining !== null) return id === app.joining ? undefined : actions.joinWith(id);
    if (placing.placing()) return;
    app.goTo(id);
  },
  spot(i) {
    if (placing.placing() || app.joining !== null) return;
    app.at = { kind: "spot", i };
    app.draw();
  },
  drag(rectangle) {
    add(false);
    placing.propose(app, rectangle);
  },
});

for (const [id, action] of Object.entries({
  undo: actions.undo, redo: actions.redo, help: actions.help, finish: actions.finish, sheets: actions.sheets, add: actions.add,
  "set-count": actions.count, beside: actions.beside, "side-accept": actions.sideAccept, "side-next": () => side.turn(1), "side-previous": () => side.turn(-1), "zoom-in": () => stage.zoom(1.5), "zoom-out": () => stage.zoom(1 / 1.5), "zoom-fit": () => stage.fit(),
})) byId(id).addEventListener("click", action);
byId("only-taught").addEventListener("change", (event) => actions.onlyTaught(event));
document.addEventListener("keydown", onKey);
document.addEventListener("visibilitychange", lookAgain);

try {
  const start = await get("api/start");
  app.vocabulary = start.vocabulary;
  app.sheets = start.sheets;
  learn(start.vocabulary);
  await app.openSheet(Math.max(0, start.sheets.findIndex((line) => line.standing.is !== "checked")));
  setInterval(lookAgain, LOOK_AGAIN);
} catch (error) {
  app.say(error.message);
}
