// The groups with their numbers, which move as you work.

import { byId, h } from "./dom.js";
import { swatch } from "./draw.js";
import * as words from "./words.js";

const list = byId("groups");
let rows = new Map();

// One for all comparisons: making one is slow.
const order = new Intl.Collator(undefined, { numeric: true }).compare;

const key = (g) => `${g.colour} ${g.form} ${g.size}`;

export function drawTotals(app, fresh) {
  byId("total").textContent = words.plural(app.sheet.total, "piece", "pieces");
  const groups = app.sheet.groups.filter(words.isCounted).sort((a, b) =>
    order(a.colour, b.colour) || order(a.form, b.form) || order(a.size, b.size));
  const next = new Map();
  let last = null;
  const shown = groups.map((group) => {
    const first = group.colour !== last;
    last = group.colour;
    const state = JSON.stringify([group, app.hex(group.colour), first]);
    const old = rows.get(key(group));
    if (old?.state === state) {
      next.set(key(group), old);
      return old.element;
    }
    const element = row(app, group, first);
    if (!fresh && (!old || old.numbers !== numbers(group))) element.classList.add("moved");
    next.set(key(group), { state, element, numbers: numbers(group) });
    return element;
  });
  rows = next;
  const perhaps = app.sheet.groups.length - groups.length;
  const line = byId("perhaps");
  line.hidden = perhaps === 0;
  line.textContent = `Some pieces may be of ${words.plural(perhaps, "other kind", "other kinds")}.`;
  // Rows that stay are not touched, so that nothing else is laid out anew.
  const stays = new Set(shown);
  for (const element of [...list.children]) if (!stays.has(element)) element.remove();
  shown.forEach((element, i) => {
    if (list.children[i] !== element) list.insertBefore(element, list.children[i] ?? null);
  });
  onlyTaught(app);
  const notes = byId("notes");
  const { warnings } = app.sheet;
  notes.hidden = warnings.length === 0;
  if (fresh) {
    notes.replaceChildren(h("summary", {}, words.plural(warnings.length, "note on the photo", "notes on the photo")),
      h("ul", {}, warnings.map((warning) => h("li", {}, warning.text))));
  }
}

// Whether the taught colours are all there are, and how many pieces the answer would leave or bring to look at.
function onlyTaught(app) {
  const { only_taught: yes, open_otherwise: otherwise, posted } = app.sheet;
  byId("only-taught-line").hidden = otherwise === null && !yes;
  byId("only-taught").checked = yes;
  byId("only-taught").disabled = posted !== null;
  const fewer = otherwise === null ? 0 : app.open.size - otherwise;
  byId("only-taught-note").textContent = yes ? "no piece is doubted as one of another colour"
    : fewer > 0 ? `would leave ${words.plural(fewer, "piece", "pieces")} fewer to look at`
      : "then no piece is doubted as one of another colour";
}

const numbers = (g) => `${g.count} ${g.low} ${g.high}`;

function row(app, group, first) {
  const kind = `${group.colour} ${group.form} ${group.size}`;
  // As in the marked-up picture: amber where the number is not sure.
  const isOpen = group.sure < app.vocabulary.sure;
  return h("button", { type: "button", class: `row${first ? " first" : ""}`, "data-kind": kind, title: group.reason ?? null, onclick: () => app.actions.group(group) },
    swatch(app.hex(group.colour)),
    // Said once to the eye, and in every row to who hears the page.
    h("span", { class: "row-colour" }, first ? group.colour : h("span", { class: "unseen" }, group.colour)),
    h("span", { class: "row-piece" }, `${group.form} ${words.size(group.size)}`),
    h("span", { class: `row-range${isOpen ? " open" : ""}` }, group.reason ? "set" : words.range(group) || (isOpen && "?")),
    h("span", { class: "row-count" }, String(group.count)));
}
