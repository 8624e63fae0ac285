// What each key does.

import { actions, current } from "./actions.js";
import { neighbours } from "./card.js";
import * as placing from "./placing.js";
import * as side from "./side.js";
import * as stage from "./stage.js";

let app = null;

export function attach(given) {
  app = given;
  document.addEventListener("keydown", onKey);
}

const KEYS = {
  f: actions.form, z: actions.size, c: actions.colour, v: actions.face, x: actions.remove, Delete: actions.remove,
  s: actions.split, j: actions.join, r: () => actions.recolour(), a: actions.add, g: actions.count,
  u: actions.undo, y: actions.redo, l: actions.all, m: actions.sheets, p: actions.finish, t: actions.onlyTaught, "?": actions.help,
  b: actions.beside, n: () => app.flip(), o: actions.thing,
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
      app.add(false);
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
  o: actions.alone, a: actions.add, k: actions.takeRest, Escape: () => side.select(null),
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
  if (key.startsWith("Arrow")) return side.go(key, event.shiftKey), true;
  return SIDE[key] ? (SIDE[key](started), true) : false;
}
