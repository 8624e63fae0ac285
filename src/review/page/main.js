// The page: which sheet, what to look at now, and how changes come to it.

import * as acts from "./actions.js";
import { AskError, get, inTurn, post } from "./ask.js";
import { drawCard } from "./card.js";
import { byId, h, s } from "./dom.js";
import { learn } from "./draw.js";
import * as keys from "./keys.js";
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
  // Which of the sheet's photos is shown, from 1.
  photo: 1,
  // Side by side, and which screen of it.
  isSide: false, screen: 0,
  // The pieces of a spot check, while it is made.
  check: null,

  hex: (colour) => app.colours.get(colour) ?? "#9a9a9a",
  piece: (id) => app.sheet.pieces.find((p) => p.id === id),
  cardTurn: () => app.sheet.card_turn,

  // Where a piece lies in each photo that has its place, the first photo before the others.
  placesOf(piece) {
    const isSeen = (photo) => !piece.seen_in.length || piece.seen_in.includes(photo);
    return [{ ...piece, photo: 1 }, ...piece.views].map((place) => ({ ...place, isSeen: isSeen(place.photo) }));
  },
  // The pieces that have a place in the photo that is shown, with that place.
  inPhoto() {
    const here = (piece) => app.placesOf(piece).find((place) => place.photo === app.photo);
    return app.sheet.pieces.flatMap((piece) => {
      const place = here(piece);
      return place ? [{ ...piece, x_px: place.x_px, y_px: place.y_px, outline_px: place.outline_px }] : [];
    });
  },
  flip() {
    const { photos } = app.sheet;
    if (photos.length < 2) return app.say("This sheet has one photo. Count several of one tray with --together to see it from all of them.", false);
    app.flipTo(app.photo % photos.length + 1);
  },
  flipTo(number) {
    if (number === app.photo) return;
    app.photo = number;
    stage.show(app.index, number, app.sheet.photos[number - 1]);
    app.draw();
  },

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
    // What is told of the first photo alone, and what is drawn anew, is shown there.
    if (app.photo !== 1 && (app.at?.kind === "spot" || app.joining !== null || app.adding || placing.placing())) return app.flipTo(1);
    byId("flip").hidden = sheet.photos.length < 2;
    byId("flip-words").textContent = `Photo ${app.photo} of ${sheet.photos.length}`;
    stage.draw(app.inPhoto(), app.photo === 1 ? sheet.spots : [], app.open);
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
        const { correction, body } = asked;
        const sent = { version: before.version, ...(verb === "correct" ? { correction } : body) };
        take(await post(`api/sheet/${app.index}/${verb}`, sent));
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

  // What the list of shapes holds by now.
  async relearn() {
    app.vocabulary = (await get("api/start")).vocabulary;
    learn(app.vocabulary);
    app.draw();
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
    Object.assign(app, { index, joining: null, all: false, sheet: null, isSide: false, check: null, photo: 1 });
    app.add(false);
    app.sheets = (await get("api/start")).sheets;
    take(await get(`api/sheet/${index}`));
    app.at = app.items()[0] ?? null;
    stage.show(index, 1, app.sheet.photos[0]);
    const line = app.sheets[index];
    document.querySelector(".sheet-file").textContent = app.sheet.file;
    document.querySelector(".sheet-place").textContent = [app.sheet.place, app.sheets.length > 1 && `sheet ${index + 1} of ${app.sheets.length}`].filter(Boolean).join(" · ");
    kept(line.standing.is === "checked" ? "In the stock" : "");
    app.draw(true);
    byId("card").focus({ preventScroll: true });
    document.body.dataset.ready = index;
  },

  add(on) {
    app.adding = on;
    byId("add").setAttribute("aria-pressed", String(on));
    if (on) app.flipTo(1);
    stage.setTool(on ? "add" : "look");
    if (on) app.say("Drag a rectangle around the piece, or press Enter to place it with the arrow keys.", false);
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
acts.attach(app);
keys.attach(app);
const { actions } = app;

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
  if (app.at?.kind === "piece") {
    const place = app.placesOf(app.piece(app.at.id)).find((one) => one.photo === app.photo);
    return place ? { outline: place.outline_px } : null;
  }
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
    piece.views ??= [];
    piece.seen_in ??= [];
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
    app.add(false);
    placing.propose(app, rectangle);
  },
});

for (const [id, action] of Object.entries({
  undo: actions.undo, redo: actions.redo, help: actions.help, finish: actions.finish, sheets: actions.sheets, add: actions.add, flip: () => app.flip(),
  "set-count": actions.count, beside: actions.beside, "side-accept": actions.sideAccept, "side-next": () => side.turn(1), "side-previous": () => side.turn(-1), "zoom-in": () => stage.zoom(1.5), "zoom-out": () => stage.zoom(1 / 1.5), "zoom-fit": () => stage.fit(),
})) byId(id).addEventListener("click", action);
byId("only-taught").addEventListener("change", (event) => actions.onlyTaught(event));
document.addEventListener("visibilitychange", lookAgain);

try {
  const start = await get("api/start");
  app.vocabulary = start.vocabulary;
  app.sheets = start.sheets;
  app.desk = start.desk;
  byId("back").hidden = !start.desk;
  learn(start.vocabulary);
  // Within the desk the address says which sheet is meant.
  const wanted = /^#\d+$/.test(location.hash) ? Number(location.hash.slice(1)) : start.sheets.findIndex((line) => line.standing.is !== "checked");
  if (start.sheets.length) await app.openSheet(Math.min(Math.max(0, wanted), start.sheets.length - 1));
  else app.say("No sheet is open; count a photo first.", false);
  setInterval(lookAgain, LOOK_AGAIN);
} catch (error) {
  app.say(error.message);
}
