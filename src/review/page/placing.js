// Placing a missed piece: a proposal from the server, moved and turned until it fits.

import { byId, h, keyButton } from "./dom.js";
import { post } from "./ask.js";
import { closeUp, cropPath, picture } from "./draw.js";
import * as stage from "./stage.js";
import * as words from "./words.js";

const card = byId("card");
// One press moves a piece by a quarter of a stud, and turns it by little enough that
// a 1x8's end moves by as much. Coarse with Shift.
const STEP = { mm: 2, degrees: 4, coarse: 4 };

let draft = null;
let spot = null;
let app = null;

export const placing = () => draft !== null;

// Asks for a proposal for a rectangle of the photo: left, top, right, bottom, px.
export async function propose(owner, drag, explains = null) {
  app = owner;
  try {
    draft = await post(`api/sheet/${app.index}/snap`, drag);
    spot = explains;
    app.say("");
    draw();
    card.focus({ preventScroll: true });
  } catch (error) {
    cancel();
    app.say(error.message);
  }
}

export function cancel() {
  draft = null;
  spot = null;
  stage.drawDraft(null);
}

async function change(more) {
  const piece = { ...draft.piece, ...more };
  try {
    draft = await post(`api/sheet/${app.index}/outline`, piece);
    draw();
  } catch (error) {
    app.say(error.message);
  }
}

// The tray's axes are the card's, the arrows are the photo's.
function moved(piece, direction, factor) {
  const [x, y] = direction.map((v) => v * STEP.mm * factor);
  const turn = app.cardTurn();
  return { x_mm: piece.x_mm + x * Math.cos(turn) + y * Math.sin(turn), y_mm: piece.y_mm - x * Math.sin(turn) + y * Math.cos(turn) };
}

// Arrows and turns; says whether the key was one of them.
export function key(event) {
  const { piece } = draft;
  const factor = event.shiftKey ? STEP.coarse : 1;
  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  if (moves[event.key]) {
    change(moved(piece, moves[event.key], factor));
  } else if (event.key === "," || event.key === "." || event.key === "<" || event.key === ">") {
    change({ turn_deg: piece.turn_deg + (event.key === "," || event.key === "<" ? -1 : 1) * STEP.degrees * factor });
  } else return false;
  return true;
}

export const choices = {
  form: () => app.pick.form(draft.piece).then((form) => form && change(fitting({ ...draft.piece, form }))),
  size: () => app.pick.size(draft.piece).then((size) => size && change({ size })),
  colour: () => app.pick.colour(draft.piece.colour, "Which colour is it?").then((colour) => colour && change({ colour, lab: null })),
  face: () => app.pick.face(draft.piece).then((face) => face && change({ face })),
};

// Another form may not come in that size: then its first.
function fitting(piece) {
  const form = app.vocabulary.forms.find((f) => f.name === piece.form);
  return { form: piece.form, size: !form || form.sizes.includes(piece.size) ? piece.size : form.sizes[0] };
}

export async function add() {
  const piece = draft.piece;
  const explains = spot;
  const known = new Set(app.sheet.pieces.map((p) => p.id));
  await app.act(() => ({ correction: { what: "add", piece, spot: explains } }));
  cancel();
  const added = app.sheet.pieces.find((p) => !known.has(p.id));
  if (added) app.goTo(added.id);
}

function draw() {
  const { piece, outline_px } = draft;
  stage.drawDraft(outline_px);
  const area = closeUp(app.sheet.photos[0], outline_px, 2);
  const hint = `${area.left} ${area.top} ${area.side} ${area.side}`;
  const again = (more) => () => change(more());
  card.replaceChildren(
    h("div", { class: "card-head" }, h("div", { class: "card-title" }, h("h2", {}, "A new piece"),
      h("p", { class: "place" }, "Move it until the outline fits, then add it."))),
    h("div", { class: "look" },
      h("div", { class: "close-look" }, h("img", { src: cropPath(app.index, 1, area), alt: "The new piece, close" }), app.overlay(hint, outline_px)),
      h("div", { class: "look-words" }, picture(piece, app.hex(piece.colour), { class: "piece big" }),
        h("p", { class: "why" }, words.kind(piece)), h("p", { class: "face" }, words.face(piece.face)),
      )),
    h("div", { class: "nudge", role: "group", "aria-label": "Move and turn" },
      [["left", "←", [-1, 0]], ["up", "↑", [0, -1]], ["down", "↓", [0, 1]], ["right", "→", [1, 0]]].map(([word, arrow, way]) =>
        h("button", { type: "button", "aria-label": `Move ${word}`, onclick: again(() => moved(piece, way, 1)) }, arrow)),
      h("button", { type: "button", "aria-label": "Turn left", onclick: again(() => ({ turn_deg: piece.turn_deg - STEP.degrees })) }, "⟲"),
      h("button", { type: "button", "aria-label": "Turn right", onclick: again(() => ({ turn_deg: piece.turn_deg + STEP.degrees })) }, "⟳")),
    h("p", { class: "hint keys-hint" }, h("kbd", {}, "← ↑ → ↓"), " move, ", h("kbd", {}, ","), " ", h("kbd", {}, "."), " turn, with Shift more"),
    h("div", { class: "tools", role: "group", "aria-label": "The new piece" },
      keyButton("Form", "f", choices.form), keyButton("Size", "z", choices.size), keyButton("Colour", "c", choices.colour), keyButton("Face", "v", choices.face)),
    h("div", { class: "spot-buttons" },
      keyButton("Add it", "Enter", () => add().catch(() => {}), { class: "primary" }), keyButton("Cancel", "Esc", () => app.actions.escape())),
  );
}
