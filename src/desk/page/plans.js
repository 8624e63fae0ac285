// Plans: what is to be built, how far the stock reaches, what to fetch and what to buy.

import { get, inTurn, post } from "./ask.js";
import { h } from "./dom.js";
import { ask, paper, today } from "./forms.js";
import { plain } from "./plain.js";
import * as csv from "./csv.js";

const HEADS = ["module", "wanted", "hidden", "form", "size", "count", "colours", "hidden_colours", "joins"];
const WORDS = { module: "Module", wanted: "Wanted", hidden: "of them hidden", form: "Form", size: "Size", count: "Each", colours: "Colours that will do (a|b)", hidden_colours: "…where hidden", joins: "Joins" };
const NARROW = new Set(["wanted", "hidden", "size", "count", "joins"]);
let chosen = null, offers = "", certain = false, listed = "", entries = -1, turns = 0;
let asked = 0;
// The plan that is shown: its name, and the state of its file.
let shown = null;
let side, editor, answer;

export function open(app, room) {
  listed = "";
  shown = null;
  home = app.state.home;
  entries = app.state.entries;
  side = h("div", { class: "buttons" });
  editor = h("div", {});
  answer = h("div", { "aria-live": "polite" });
  room.append(h("div", { class: "room-head" }, h("h2", {}, "Plans"), side), editor, answer);
}

export function draw(app) {
  const plans = app.state.plans.filter((plan) => !plan.offers).map((plan) => plan.name);
  const prices = app.state.plans.filter((plan) => plan.offers).map((plan) => plan.name);
  const now = JSON.stringify([plans, prices]);
  const version = app.state.plans.find((plan) => plan.name === shown?.name)?.version;
  if (now === listed && shown && version !== shown.version && !editor.contains(document.activeElement)) {
    // Changed by another window or program.
    show(app);
  } else if (now !== listed) {
    listed = now;
    if (!plans.includes(chosen)) chosen = plans[0] ?? null;
    if (!prices.includes(offers)) offers = prices[0] ?? "";
    const pick = h("select", { "aria-label": "Plan", onchange: () => { chosen = pick.value; show(app); } }, plans.map((name) => h("option", { value: name, selected: name === chosen }, name)));
    const price = h("select", { "aria-label": "Prices", onchange: () => { offers = price.value; cover(app); } }, h("option", { value: "" }, "no prices"), prices.map((name) => h("option", { value: name, selected: name === offers }, name)));
    const file = h("input", { type: "file", class: "unseen", id: "plan-file", accept: ".csv,.json", onchange: () => bring(app, file) });
    side.replaceChildren(...[plans.length && pick, prices.length && price,
      h("button", { type: "button", onclick: () => create(app) }, "New plan…"), file, h("label", { class: "button", for: "plan-file" }, "Import a plan or prices")].filter(Boolean));
    show(app);
  } else if (entries !== app.state.entries) {
    entries = app.state.entries;
    cover(app);
  }
}

async function bring(app, input) {
  const [file] = input.files;
  input.value = "";
  if (!file) return;
  try {
    const text = await file.text();
    const there = app.state.plans.find((plan) => plan.name === file.name);
    if (there && !await ask({ title: `Replace ${file.name}?`, ok: "Replace it", lead: "There is a file of that name here already.", fields: [] })) return;
    await keep(app, file.name, text, there?.version ?? null);
    await app.look();
    if (!app.state.plans.find((plan) => plan.name === file.name)?.offers) chosen = file.name;
    listed = "";
    draw(app);
  } catch (error) {
    app.say(error.message);
  }
}

const create = (app) => ask({ title: "A new plan", ok: "Create plan", fields: [
  { name: "name", label: "Name", placeholder: "quay" },
  { name: "module", label: "The module that you build", placeholder: "quay wall" },
  { name: "wanted", label: "How many of it", kind: "number", value: "1", min: "1" },
  { name: "piece", label: "A piece of it", placeholder: "8 plate 2x4", hint: "number, form and size; more lines follow" },
  { name: "colours", label: "Colours that will do", value: "any", hint: "one; several with | between them; any; or any but one" },
], take: async (value) => {
  const piece = /^(\d+)\s+(\S+)\s+(\d+)\s*[x×]\s*(\d+)$/.exec(value.piece);
  if (!piece) throw new Error("say a piece as number, form and size, such as: 8 plate 2x4");
  const [, count, given, short, long] = piece;
  // Whoever says eight plates means the form plate.
  const form = given.replace(/^(brick|plate|tile)s$/, "$1");
  const name = /\.(csv|json)$/.test(value.name) ? value.name : `${value.name}.csv`;
  if (app.state.plans.some((plan) => plan.name === name)) throw new Error(`there is a plan ${name} already; take another name`);
  await keep(app, name, csv.text([HEADS, [value.module, value.wanted, "", form, `${short}x${long}`, count, value.colours, "", ""]]), null);
  chosen = name;
  listed = "";
  await app.look();
  draw(app);
} });

// Keeps a plan as it was changed from a state of its file, and gives its new state; or throws what is wrong with it.
async function keep(app, name, text, was) {
  const { said, version } = await post(`api/plan/${encodeURIComponent(name)}`, { text, was });
  app.kept("Kept");
  app.say(said.length ? plain(said.join(" ")) : "", false);
  return version;
}

async function show(app) {
  const turn = ++turns;
  shown = null;
  editor.replaceChildren();
  answer.replaceChildren();
  if (!chosen) {
    editor.replaceChildren(h("p", { class: "empty" }, "No plan yet. A plan says what you build, how many of it, and which pieces each takes."));
    return;
  }
  const name = chosen;
  try {
    const { text, version } = await get(`api/plan/${encodeURIComponent(name)}`);
    // Another was chosen meanwhile.
    if (turn !== turns) return;
    shown = { name, version };
    if (name.endsWith(".csv")) edit(app, csv.parse(text), shown);
    else editor.replaceChildren(h("details", { class: "panel" }, h("summary", {}, "The plan's text"), h("pre", {}, text)));
    await cover(app);
  } catch (error) {
    app.say(error.message);
  }
}

// The plan as a table. What is typed is kept when a cell is left; a plan with a mistake is not, and the mistake is said.
function edit(app, rows, plan) {
  const [first = HEADS, ...lines] = rows;
  // Headings may be written in any case.
  const given = first.map((head) => HEADS.find((known) => known === head.trim().toLowerCase()) ?? head);
  const heads = [...HEADS, ...given.filter((head) => !HEADS.includes(head))];
  const data = lines.map((line) => Object.fromEntries(given.map((head, i) => [head, line[i] ?? ""])));
  const wrong = h("p", { class: "wrong", role: "alert" });
  const body = h("tbody", {});
  const text = () => csv.text([heads, ...data.map((line) => heads.map((head) => line[head] ?? ""))]);
  let last = text();
  // One after the other, each with the text as it is when its turn comes.
  const changed = () => inTurn(async () => {
    const now = text();
    // A line that is still being written is no mistake.
    if (now === last || data.some((line) => !line.form || !line.size || !line.count)) return;
    try {
      plan.version = await keep(app, plan.name, now, plan.version);
      last = now;
      wrong.textContent = "";
      await app.look();
      await cover(app);
    } catch (error) {
      // The file's first line is the heading.
      const told = `Not kept: ${error.message.replace(/\bline (\d+)/g, (_, n) => `line ${n - 1}`)}`;
      if (error.stale) await show(app);
      if (wrong.isConnected) wrong.textContent = told;
      else app.say(`${plan.name}: ${told}`);
    }
  });
  const draw = () => body.replaceChildren(...data.map((line, i) => h("tr", {}, heads.map((head) => {
    const input = h("input", { type: "text", value: line[head] ?? "", "aria-label": `${WORDS[head] ?? head}, line ${i + 1}`, class: NARROW.has(head) ? "narrow" : "", onchange: () => { line[head] = input.value.trim(); changed(); } });
    return h("td", {}, input);
  }), h("td", {}, h("button", { type: "button", class: "quiet", "aria-label": `Take line ${i + 1} out`, onclick: () => { data.splice(i, 1); draw(); changed(); } }, "✕")))));
  draw();
  editor.replaceChildren(h("details", { class: "panel", open: true }, h("summary", {}, "The plan, line by line"),
    h("div", { class: "table-wrap" }, h("table", { class: "list grid-table" }, h("thead", {}, h("tr", {}, heads.map((head) => h("th", { scope: "col" }, WORDS[head] ?? head)), h("th", {}))), body)),
    h("div", { class: "buttons" }, h("button", { type: "button", onclick: () => {
      data.push({ module: data.at(-1)?.module ?? "", colours: "any" });
      draw();
      body.querySelector("tr:last-child td:nth-child(4) input").focus();
    } }, "Add a line"), h("span", { class: "small-print" }, "A line is kept once its form, size and number are filled in.")), wrong));
}

// Ticks are of a home, a plan and a line, and go when its pieces are taken out.
let home = "";
const ticked = () => `fetched ${home} ${chosen} `;
const key = (line) => `${ticked()}${line.place} ${line.form} ${line.size} ${line.colour} ${line.take}`;
const size = (text) => text.replace("x", "×");
const plural = (n, one, many) => `${n} ${n === 1 ? one : many}`;

async function cover(app) {
  if (!chosen) return;
  entries = app.state.entries;
  const turn = ++asked;
  let report;
  try {
    report = (await app.ask({ do: "cover", plan: chosen, offers: offers || null, certain })).value;
    if (turn !== asked) return;
  } catch (error) {
    if (turn !== asked) return;
    answer.replaceChildren(h("p", { class: "fault panel" }, error.message));
    return;
  }
  const { certain: low, likely, wanted } = report;
  const lead = low.modules === likely.modules
    ? `The stock finishes ${likely.modules} of ${plural(wanted, "module", "modules")}, for certain.`
    : `The stock finishes ${likely.modules} of ${plural(wanted, "module", "modules")} if the best counts hold; ${low.modules} for certain.`;
  const tick = h("input", { type: "checkbox", checked: certain, onchange: () => { certain = tick.checked; cover(app); } });
  const shopping = report.missing.length > 0;
  answer.replaceChildren(...[h("section", { class: "panel" }, h("p", { class: "answer-lead" }, lead),
    table(["Module", "Wanted", "Certain", "Likely"], report.kinds.map((kind) => [kind.module + (kind.hidden ? ", hidden" : ""), kind.wanted, kind.certain, kind.likely])),
    h("label", { class: "tick" }, tick, "Use only pieces that are certain"),
    report.remarks.map((remark) => h("p", { class: "caution" }, `Line ${chosen.endsWith(".csv") ? remark.line - 1 : remark.line}: ${remark.text}`))),
  report.fetch.length > 0 && h("section", { class: "panel" }, h("div", { class: "room-head" }, h("h3", {}, "To fetch"), h("button", { type: "button", onclick: () => printFetch(report) }, "Fetch list on paper"), h("button", { type: "button", onclick: () => takeOut(app) }, "Built: take these out…")),
    fetchTable(report, true)),
  shopping && h("section", { class: "panel" }, h("div", { class: "room-head" }, h("h3", {}, report.advice ? "Missing, and what to buy" : "Missing"), h("button", { type: "button", onclick: () => printShopping(report) }, "Shopping list on paper")), missingTables(report)),
  !shopping && h("p", { class: "panel" }, "Nothing is missing.")].filter(Boolean));
}

const table = (heads, rows) => h("div", { class: "table-wrap" }, h("table", { class: "list" }, h("thead", {}, h("tr", {}, heads.map((head, i) => h("th", { scope: "col", class: numeric(rows, i) ? "number" : "" }, head)))),
  h("tbody", {}, rows.map((row) => h("tr", {}, row.map((cell) => h("td", { class: typeof cell === "number" ? "number" : "" }, cell)))))));
const numeric = (rows, i) => rows.some((row) => typeof row[i] === "number");

function byPlace(report) {
  const places = new Map();
  for (const line of report.fetch) places.set(line.place, [...(places.get(line.place) ?? []), line]);
  return [...places];
}

function fetchTable(report, ticks) {
  return h("div", { class: "table-wrap" }, h("table", { class: "list" }, h("thead", {}, h("tr", {}, h("th", {}), ["Piece", "Colour", "Take", "For"].map((head) => h("th", { scope: "col", class: head === "Take" ? "number" : "" }, head)))),
    byPlace(report).map(([place, lines]) => h("tbody", {}, h("tr", { class: "group" }, h("th", { colspan: 5, scope: "colgroup" }, place)), lines.map((line) => {
      const what = `${line.form} ${size(line.size)}`;
      const box = ticks ? h("input", { type: "checkbox", "aria-label": `Fetched: ${line.take} ${what} ${line.colour} from ${place}`, checked: Boolean(localStorage.getItem(key(line))) }) : h("span", { class: "box" });
      const row = h("tr", { class: ticks && box.checked ? "fetched" : "" }, h("td", {}, box), h("td", {}, what), h("td", {}, line.colour), h("td", { class: "number" }, line.take), h("td", {}, line.for.map((use) => `${use.pieces} for ${use.module}${use.hidden ? ", hidden" : ""}`).join("; "), line.pending > 0 && ticks && h("span", { class: "soft" }, ` (${line.pending} not looked at yet)`)));
      if (ticks) box.addEventListener("change", () => { localStorage[box.checked ? "setItem" : "removeItem"](key(line), "yes"); row.classList.toggle("fetched", box.checked); });
      return row;
    })))));
}

function missingTables(report) {
  const { advice, missing } = report;
  const lacks = table(["Piece", "Colour", "Pieces", "For"], missing.map((line) => [`${line.form} ${size(line.size)}`, line.colours, line.pieces, line.modules.join(", ")]));
  if (!advice) return lacks;
  const cost = (value) => `${value.toFixed(2)} ${advice.currency ?? ""}`.trim();
  return [advice.buy.length > 0 && table(["Buy", "Colour", "How many", "Cost"], advice.buy.map((line) => [`${line.form} ${size(line.size)}${line.volume_ml ? " (cup)" : ""}`, line.colour, line.units, cost(line.cost)])),
    h("p", {}, advice.buy.length ? `In all ${cost(advice.cost)}.` : "", advice.not_sold > 0 && ` Of ${plural(advice.not_sold, "piece that is", "pieces that are")} missing nobody on the list sells any.`), h("h3", {}, "All that is missing"), lacks];
}

const head = (title) => [h("h2", {}, title), h("p", { class: "small-print" }, `${chosen} · ${today()}`)];
const printFetch = (report) => paper(head("Fetch list"), fetchTable(report, false));
const printShopping = (report) => paper(head("Shopping list"), missingTables(report));

const takeOut = (app) => ask({ title: "Take these pieces out of the stock?", ok: "Take out", lead: "Once built: what is on the fetch list goes out of the stock. It can be undone in the stock's list of what was done.", fields: [],
  take: async () => {
    const taken = await app.change({ do: "cover", plan: chosen, offers: offers || null, certain, take: true });
    for (const one of Object.keys(localStorage)) if (one.startsWith(ticked())) localStorage.removeItem(one);
    await cover(app);
    return taken;
  } });
