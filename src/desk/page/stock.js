// The stock: what is where, what was done, and what can be taken back.

import { h } from "./dom.js";
import { ask, paper, swatch, today } from "./forms.js";

const BYS = [["place", "By place"], ["piece", "By piece"], ["colour", "By colour"]];
let turns = 0, all = false;
let by = "place", find = "", shown = null, historyShown = null, entries = -1;
let table, history, segments, waiting, onStock;

export function open(app, room) {
  shown = null;
  entries = -1;
  const search = h("input", { type: "search", placeholder: "Search: 2x4 cup 1", "aria-label": "Search the stock", value: find,
    oninput: () => { find = search.value; drawTable(app); } });
  segments = h("div", { class: "segments", role: "group", "aria-label": "Gathered" }, BYS.map(([value, words]) =>
    h("button", { type: "button", "aria-pressed": String(value === by), onclick: async () => { by = value; press(); await read(app); } }, words)));
  table = h("div", { class: "table-wrap" });
  history = h("div", {});
  waiting = h("div", {});
  // These need something in the stock.
  onStock = [["Take out…", take], ["Move…", move], ["Rename…", rename], ["Labels for cups…", labels]].map(([words, work]) => h("button", { type: "button", onclick: () => work(app) }, words));
  room.append(h("div", { class: "room-head" }, h("h2", {}, "Stock"), segments, h("div", { class: "search" }, search)),
    h("div", { class: "room-head buttons" },
      h("button", { type: "button", onclick: () => put(app) }, "Put in…"), onStock),
    waiting, table, h("h3", {}, "History"), history);
}

function press() {
  BYS.forEach(([value], i) => segments.children[i].setAttribute("aria-pressed", String(value === by)));
}

export async function draw(app) {
  if (app.state.entries === entries && shown) return;
  entries = app.state.entries;
  await read(app);
}

async function read(app) {
  const turn = ++turns;
  try {
    const [stock, done] = await Promise.all([app.ask({ do: "stock", by }), app.ask({ do: "history", all })]);
    // A later question was asked meanwhile.
    if (turn !== turns) return;
    shown = stock.value;
    historyShown = done.value ?? [];
    for (const button of onStock) button.disabled = !shown?.groups.length;
    drawTable(app);
    drawWaiting(app);
    drawHistory(app);
  } catch (error) {
    app.say(error.message);
  }
}

// What can be read of a row when it is searched: the words that are shown, and those of its places.
const words = (group, row) => [group.name, row.form, row.size, row.colour, ...row.places.map((held) => held.place)].join(" ").toLowerCase();

function drawTable(app) {
  if (!shown?.groups.length) {
    table.replaceChildren(h("p", { class: "empty" }, "Nothing is in the stock yet. Count a photo, look it over and finish it; or put pieces in by number."));
    return;
  }
  const wanted = find.toLowerCase().split(/\s+/).filter(Boolean);
  const heads = by === "place" ? ["Piece", "Colour"] : by === "piece" ? ["Colour", "Where"] : ["Piece", "Where"];
  const pending = shown.groups.some((group) => group.total.pending.count);
  const bodies = shown.groups.map((group) => {
    const rows = group.rows.filter((row) => wanted.every((word) => words(group, row).includes(word)));
    if (!rows.length) return null;
    const sum = { checked: add(rows, "checked"), pending: add(rows, "pending") };
    return h("tbody", {}, h("tr", { class: "group" },
      h("th", { colspan: 2, scope: "colgroup" }, by === "colour" ? colour(app, group.name) : group.name), h("th", { class: "number" }, tally(sum.checked)), pending && h("th", { class: "number pending" }, tally(sum.pending)), by === "place" && h("th", {})),
    rows.map((row) => h("tr", {}, cells(app, row).map((cell) => h("td", {}, cell)), h("td", { class: "number" }, tally(row.checked)), pending && h("td", { class: "number pending" }, tally(row.pending)),
      by === "place" && h("td", { class: "row-tool" }, h("button", { type: "button", class: "quiet", "aria-label": `Change ${piece(row)} ${row.colour} in ${group.name}`, onclick: () => changeRow(app, group.name, row) }, "…")))));
  }).filter(Boolean);
  table.replaceChildren(bodies.length
    ? h("table", { class: "list" }, h("thead", {}, h("tr", {}, heads.map((head) => h("th", { scope: "col" }, head)), h("th", { class: "number", scope: "col" }, "Checked"), pending && h("th", { class: "number", scope: "col" }, "Pending"), by === "place" && h("th", {}))), bodies)
    : h("p", { class: "empty" }, "Nothing in the stock has all these words."));
}

// Sheets in the stock that nobody has looked at.
function drawWaiting(app) {
  const pending = shown.pending ?? [];
  waiting.replaceChildren();
  if (!pending.length) return;
  const row = (sheet) => {
    const own = app.state.sheets.find((one) => one.photos.includes(sheet.file) && one.standing.is === "pending");
    return h("tr", {}, h("td", {}, sheet.file), h("td", {}, sheet.place), h("td", { class: "number pending" }, sheet.lots.reduce((sum, lot) => sum + lot.count, 0)),
      h("td", {}, h("span", { class: "buttons" }, own && h("button", { type: "button", class: "primary", onclick: () => app.review(own.sheet) }, "Look it over"))));
  };
  const entries = [...new Set(pending.map((sheet) => sheet.entry))];
  waiting.append(h("details", { class: "panel", open: pending.length < 4 }, h("summary", {}, `${pending.length === 1 ? "One sheet waits" : `${pending.length} sheets wait`} to be looked at`),
    h("table", { class: "list" }, h("thead", {}, h("tr", {}, ["Photo or table", "Place", "Pieces", ""].map((head) => h("th", { scope: "col", class: head === "Pieces" ? "number" : "" }, head)))), h("tbody", {}, pending.map(row))),
    h("div", { class: "buttons" }, entries.map((entry) => h("button", { type: "button", onclick: () => confirmEntry(app, entry) }, `Take entry ${entry} as counted…`)))));
}

const confirmEntry = (app, entry) => ask({ title: `Take what entry ${entry} brought as counted?`, ok: "Take as counted", fields: [],
  lead: "Its pieces then count, doubt and all: they keep their range, and a mark that nobody looked. It can be undone below.",
  take: () => app.change({ do: "confirm", entry }) });

const add = (rows, key) => rows.reduce((sum, row) => ({ count: sum.count + row[key].count, low: sum.low + row[key].low, high: sum.high + row[key].high }), { count: 0, low: 0, high: 0 });
const tally = ({ count, low, high }) => (count || high ? `${count}${low === high ? "" : ` (${low}–${high})`}` : "");
const piece = (row) => `${row.form} ${row.size.replace("x", "×")}`;
const colour = (app, name) => h("span", { class: "colour-cell" }, swatch(app.labs.get(name)), name);
const places = (row) => row.places.map((held) => `${held.place}: ${held.checked.count + held.pending.count}`).join(", ");

function cells(app, row) {
  if (by === "place") return [piece(row), colour(app, row.colour)];
  if (by === "piece") return [colour(app, row.colour), places(row)];
  return [piece(row), places(row)];
}

function drawHistory(app) {
  if (!historyShown.length) {
    history.replaceChildren(h("p", { class: "soft" }, "Nothing yet."));
    return;
  }
  const row = (entry) => {
    const when = new Date(entry.time).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
    const who = entry.who === "-" ? "" : ` · ${entry.who}`;
    return h("tr", {}, h("td", { class: "number" }, entry.number), h("td", {}, h("span", {}, entry.told), h("span", { class: "small-print when" }, `${when}${who}`), entry.in_force === false && h("span", { class: "soft" }, " (undone)")),
      h("td", {}, entry.in_force === false ? null : h("button", { type: "button", class: "quiet", "aria-label": `Undo entry ${entry.number}`, onclick: () => undo(app, entry.number) }, "Undo")));
  };
  history.replaceChildren(h("div", { class: "table-wrap" }, h("table", { class: "list" },
    h("thead", {}, h("tr", {}, ["Entry", "What was done", ""].map((head) => h("th", { scope: "col" }, head)))), h("tbody", {}, historyShown.map(row)))),
    ...(historyShown.at(-1).number > 1 ? [h("button", { type: "button", onclick: () => { all = true; read(app); } }, "Show all")] : []));
}

async function undo(app, entry) {
  try {
    const { value } = await app.change({ do: "undo", entry });
    app.say(`Entry ${value?.entry ?? entry} took entry ${entry} back. To bring it back, undo that one.`, false);
  } catch (error) {
    app.say(error.message);
  }
}

// One kind in one place: more of it, less of it, or elsewhere.
const changeRow = (app, place, row) => {
  const kind = `${row.form} ${row.size} ${row.colour}`;
  const doing = {
    put: (n) => ({ do: "put", pieces: [`${n} ${kind}`], place }),
    take: (n) => ({ do: "take", pieces: [`${n} ${kind}`], from: place }),
    move: (n, to) => ({ do: "move", pieces: [`${n} ${kind}`], from: place, to }),
  };
  return ask({ title: `${piece(row)} ${row.colour}`, lead: `In ${place}: ${[tally(row.checked), row.pending.count && `${tally(row.pending)} pending`].filter(Boolean).join(", ")}.`, ok: "Do it", fields: [
    { name: "what", label: "What to do", kind: "choice", options: [["take", "take out"], ["put", "put in"], ["move", "move elsewhere"]] },
    { name: "number", label: "How many", kind: "number", value: "1", min: "1" },
    { name: "to", label: "Where to (for moving)", options: app.state.places.filter((other) => other !== place), required: false },
  ], take: (value) => {
    if (value.what === "move" && !value.to) throw new Error("say where they go");
    return app.change(doing[value.what](value.number, value.to));
  } });
};

// One kind a line or after a comma, as it would be said: "8 plate 2x4 kelp".
const pieces = (text) => text.split(/[,\n]/).map((one) => one.trim()).filter(Boolean);
const HINT = "number, form, size and colour; several with commas between them";

const put = (app) => ask({ title: "Put pieces in", ok: "Put in", lead: "Pieces that you bought or found, by number.", fields: [
  { name: "pieces", label: "Pieces", placeholder: `20 plate 2x4 ${app.state.colours[0] ?? "red"}`, hint: HINT },
  { name: "place", label: "Where they go", options: app.state.places },
  { name: "note", label: "Note", required: false },
  { name: "new", label: "One of the colours is new", kind: "tick" },
], take: (value) => app.change({ do: "put", ...value, pieces: pieces(value.pieces) }) });

const take = (app) => ask({ title: "Take pieces out", ok: "Take out", lead: "Pieces that go into a build.", fields: [
  { name: "pieces", label: "Pieces", placeholder: `8 plate 2x4 ${app.state.colours[0] ?? "red"}`, hint: HINT },
  { name: "from", label: "From where", kind: "choice", options: app.state.places.map((place) => [place, place]) },
  { name: "note", label: "What for (note)", required: false },
], take: (value) => app.change({ do: "take", ...value, pieces: pieces(value.pieces) }) });

const move = (app) => ask({ title: "Move pieces", ok: "Move", fields: [
  { name: "pieces", label: "Pieces", required: false, placeholder: "everything", hint: `${HINT}; nothing for everything there` },
  { name: "from", label: "From", kind: "choice", options: app.state.places.map((place) => [place, place]) },
  { name: "to", label: "To", options: app.state.places },
], take: (value) => app.change({ do: "move", ...value, pieces: pieces(value.pieces) }) });

const rename = (app) => ask({ title: "Rename", ok: "Rename", fields: [
  { name: "what", label: "What to rename", kind: "choice", options: [["place", "a place"], ["colour", "a colour, in the stock and as taught"]] },
  { name: "old", label: "Old name", options: [...app.state.places, ...app.state.colours] },
  { name: "new", label: "New name" },
  { name: "merge", label: "Merge them: the new name is in use, and the two are one", kind: "tick" },
], take: (value) => app.change({ do: "rename", ...value }) });

const TOP = 10;

async function labels(app) {
  try {
    await showLabels(app);
  } catch (error) {
    app.say(error.message);
  }
}

async function showLabels(app) {
  const { value } = await app.ask({ do: "stock", by: "place" });
  const chosen = await ask({ title: "Labels for cups", ok: "Show labels", fields: [{ name: "place", label: "For", kind: "choice", options: [["", "all places"], ...value.groups.map((group) => [group.name, group.name])] }] });
  if (!chosen) return;
  const groups = value.groups.filter((group) => !chosen.place || group.name === chosen.place);
  const label = (group) => {
    const rows = group.rows.map((row) => ({ ...row, n: row.checked.count + row.pending.count })).sort((a, b) => b.n - a.n);
    const all = rows.reduce((sum, row) => sum + row.n, 0);
    return h("section", { class: "label" }, h("h3", {}, group.name), h("p", { class: "small-print" }, `${all} pieces · ${today()}`),
      h("ul", { class: rows.length < 6 ? "few" : "" }, rows.slice(0, TOP).map((row) => h("li", {}, h("span", {}, `${piece(row)} ${row.colour}`), h("span", { class: "number" }, row.n)))),
      rows.length > TOP && h("p", { class: "small-print" }, `and ${rows.length - TOP} kinds more`));
  };
  paper(h("h2", { class: "unseen" }, "Labels"), h("div", { class: "labels" }, groups.map(label)));
}
