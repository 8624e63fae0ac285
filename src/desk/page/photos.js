// Photos: bring them in, have them counted, see how each stands.

import { post } from "./ask.js";
import { h, s } from "./dom.js";
import { ask, control } from "./forms.js";
import { plain } from "./plain.js";

let list, fields, summary, trust, summed = "";
const drawn = new Map();

export function open(app, room) {
  summed = "";
  drawn.clear();
  const kept = (name) => sessionStorage.getItem(`photos-${name}`) ?? "";
  fields = {
    place: control({ label: "Which cup or drawer", value: kept("place"), options: app.state.places, required: false, placeholder: "cup 1" }),
    form: control({ label: "What lies on the tray", kind: "choice", value: kept("form"), options: [["", "anything"], ["brick", "bricks only"], ["plate", "plates only"], ["tile", "tiles only"]] }),
    expect: control({ label: "It can only be (if you know)", value: kept("expect"), required: false, placeholder: "plate 2x4, plate 1x2" }),
    together: control({ label: "The photos are of one tray, from several places", kind: "tick", value: kept("together") === "yes" }),
    only: control({ label: "Only colours that I have taught are on the tray", kind: "tick", value: kept("only") === "yes" }),
  };
  for (const [name, { input }] of Object.entries(fields)) {
    input.addEventListener("change", () => sessionStorage.setItem(`photos-${name}`, input.type === "checkbox" ? (input.checked ? "yes" : "") : input.value));
  }
  const bring = async (files) => {
    const photos = [...files].filter((file) => file.type.startsWith("image/") || /\.(jpe?g|png|hei[cf])$/i.test(file.name));
    if (!photos.length) return files.length ? app.say("None of these is a photo; bring JPEG, PNG or HEIC.") : undefined;
    try {
      const order = orderOf(app);
      // Photos of one tray are counted once all are there; others as they come.
      const together = order.together && photos.length > 1;
      const names = await app.sendPhotos(photos, (name) => (together ? undefined : count(app, [name], order)));
      if (together && names.length) await count(app, names, order);
      // The next photos are of another cup, as a rule.
      for (const name of ["place", "expect"]) settle(name, "");
      settle("together", false);
    } catch (error) {
      app.say(error.message);
    }
  };
  const file = (id, words, more) => {
    const input = h("input", { type: "file", id, accept: "image/*,.heic,.heif", onchange: () => { bring(input.files); input.value = ""; }, ...more });
    return [input, h("label", { class: "button primary", for: id }, words)];
  };
  const zone = h("div", { class: "drop",
    ondragover: (event) => { event.preventDefault(); zone.classList.add("over"); },
    ondragleave: () => zone.classList.remove("over"),
    ondrop: async (event) => { event.preventDefault(); zone.classList.remove("over"); try { await bring(await filesOf(event.dataTransfer)); } catch (error) { app.say(error.message); } } },
  h("div", { class: "buttons" }, file("pick", "Choose photos", { multiple: true }), file("shoot", "Take a photo", { capture: "environment" }), h("span", { class: "soft by-hand" }, "or drop photos or a folder here")),
  h("div", { class: "settings" }, fields.place.whole, fields.form.whole, fields.expect.whole),
  h("div", { class: "ticks" }, fields.together.whole, fields.only.whole),
  h("p", { class: "small-print" }, "Each photo is counted with these settings as soon as it is here. ",
    h("a", { href: "shapes.svg", target: "_blank", rel: "noopener" }, "See all shapes that are looked for")));
  summary = h("div", { class: "buttons" });
  list = h("div", { class: "photo-list" });
  trust = h("p", { class: "small-print" });
  formsOf(app, fields.form.input);
  sayTrust(app);
  room.append(h("div", { class: "room-head" }, h("h2", {}, "Photos"), summary), zone, list, trust);
}

// Further forms of the list of shapes, the user's own with them.
async function formsOf(app, select) {
  try {
    const { value } = await app.ask({ do: "shapes" });
    const known = new Set([...select.options].map((option) => option.value));
    const forms = [...new Set(value.map((shape) => shape.form))].filter((form) => !known.has(form));
    select.append(...forms.map((form) => h("option", { value: form, selected: form === sessionStorage.getItem("photos-form") }, `only of the form ‘${form}’`)));
  } catch (error) {
    app.say(error.message);
  }
}

// What reviews showed of how far 'sure' can be trusted here.
async function sayTrust(app) {
  try {
    const { value: { sure, sets_right: setsRight } } = await app.ask({ do: "record" });
    if (!sure.pieces) return;
    const percent = (share) => `${(100 * share).toFixed(1)} %`;
    trust.textContent = `Of ${sure.pieces} pieces called sure in your photos that somebody looked at, ${sure.wrong} ${sure.wrong === 1 ? "was" : "were"} wrong (${percent(sure.share)}; 95 % interval ${percent(sure.interval[0])} to ${percent(sure.interval[1])}).${setsRight ? " New counts go by that." : ""}`;
  } catch (error) {
    app.say(error.message);
  }
}

function settle(name, value) {
  const { input } = fields[name];
  input[input.type === "checkbox" ? "checked" : "value"] = value;
  sessionStorage.removeItem(`photos-${name}`);
}

const orderOf = (app) => ({
  place: fields.place.input.value.trim(), form: fields.form.input.value || null, expect: fields.expect.input.value.trim(),
  together: fields.together.input.checked, only_taught: fields.only.input.checked && app.state.colours.length > 0,
});

async function count(app, photos, order) {
  try {
    await post("api/count", { ...order, photos });
  } catch (error) {
    app.say(error.message);
  }
  await app.look();
}

// The files that were dropped, those of folders with them, by name.
async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return [...transfer.files];
  const found = [];
  const walk = async (entry) => {
    if (entry.isFile) found.push(await new Promise((ok, no) => entry.file(ok, no)));
    else {
      const reader = entry.createReader();
      for (;;) {
        const some = await new Promise((ok, no) => reader.readEntries(ok, no));
        if (!some.length) return;
        for (const inner of some) await walk(inner);
      }
    }
  };
  for (const entry of entries) await walk(entry);
  return found.sort((a, b) => a.name.localeCompare(b.name, undefined, { numeric: true }));
}

export function draw(app) {
  const { photos, sheets } = app.state;
  const byFile = new Map(sheets.map((sheet) => [sheet.sheet, sheet]));
  const own = new Set(photos.map((photo) => photo.sheet));
  // What is on its way can be given up only where this window is not sending it.
  const stray = !app.sending;
  // Several photos of one tray are one row, and so is a sheet whose photo lies elsewhere.
  const rows = [];
  const seen = new Set();
  for (const photo of photos) {
    const sheet = photo.count && ["waiting", "counting"].includes(photo.count.is) ? null : byFile.get(photo.sheet);
    if (sheet && seen.has(sheet.sheet)) continue;
    if (sheet) seen.add(sheet.sheet);
    rows.push({ key: `photo ${photo.name}`, photo, sheet, teaches: app.state.teaching.includes(photo.name), stray });
  }
  for (const sheet of sheets) if (!own.has(sheet.sheet)) rows.push({ key: `sheet ${sheet.sheet}`, photo: null, sheet });
  const elements = rows.reverse().map((row) => {
    const now = JSON.stringify(row);
    const before = drawn.get(row.key);
    if (before?.now === now) return before.element;
    const element = rowOf(app, row);
    drawn.set(row.key, { now, element });
    return element;
  });
  for (const key of drawn.keys()) if (!rows.some((row) => row.key === key)) drawn.delete(key);
  if (elements.length) arrange(list, elements);
  else list.replaceChildren(h("p", { class: "empty" }, "No photo yet."));
  const uncounted = photos.filter((photo) => photo.there && !photo.sheet && !photo.count && !app.state.teaching.includes(photo.name)).map((photo) => photo.name);
  const open = sheets.filter((sheet) => !sheet.checked).length;
  // As it was, it keeps the focus.
  const now = JSON.stringify([uncounted, open]);
  if (now === summed && summary.children.length) return;
  summed = now;
  summary.replaceChildren(...[
    uncounted.length && h("button", { type: "button", onclick: () => count(app, uncounted, { ...orderOf(app), together: false }) }, `Count ${uncounted.length} not counted yet`),
    open && h("button", { type: "button", class: "primary", onclick: () => app.review() }, `Look at ${open === 1 ? "the sheet" : `${open} sheets`}`),
  ].filter(Boolean));
}

// Puts elements in order without touching those that stay where they are: what has the focus keeps it.
function arrange(parent, elements) {
  for (const child of [...parent.children]) if (!elements.includes(child)) child.remove();
  elements.forEach((element, i) => { if (parent.children[i] !== element) parent.insertBefore(element, parent.children[i] ?? null); });
}

function rowOf(app, { photo, sheet }) {
  const name = photo?.name ?? sheet.photos[0];
  const row = h("article", { class: `photo-row ${sheet && !sheet.checked ? "is-open" : ""}`, "aria-label": name });
  const picture = photo?.there
    ? h("img", { class: "thumb", loading: "lazy", alt: "", src: `photo/${encodeURIComponent(photo.name)}/320`, onerror: (event) => event.target.classList.add("none") })
    : sheet
      ? h("img", { class: "thumb", loading: "lazy", alt: "", src: `marked/${encodeURIComponent(sheet.sheet)}` })
      : h("span", { class: "thumb" });
  const more = sheet && sheet.photos.length > 1 ? ` and ${sheet.photos.length - 1} more of this tray` : "";
  const { status, buttons, advice } = standing(app, photo, sheet);
  row.append(picture, h("div", { class: "photo-words" }, h("span", { class: "photo-name" }, name, more), status), h("div", { class: "buttons" }, buttons));
  if (advice.length) row.append(h("ul", { class: "advice" }, advice));
  return row;
}

function standing(app, photo, sheet) {
  const one = photo && { photo: photo.name };
  const again = (words, more = {}) => h("button", { type: "button", onclick: () => (sheet?.corrected ? countAnew(app, sheet) : count(app, sheet?.photos ?? [photo.name], { ...orderOf(app), together: (sheet?.photos.length ?? 1) > 1, place: fields.place.input.value.trim() || sheet?.place || "", ...more })) }, words);
  const remove = photo && !sheet && h("button", { type: "button", class: "quiet", onclick: () => act(app, "remove", one) }, "Remove");
  if (photo && !photo.there) return { status: line(app.sending > 0 && h("span", { class: "turning" }), app.sending ? "coming in…" : "has not come in; another window may be sending it"), buttons: [!app.sending && remove], advice: [] };
  const counting = photo?.count;
  if (counting?.is === "waiting") return { status: line("waits for its turn"), buttons: [end(app, one)], advice: [] };
  if (counting?.is === "counting") return { status: line(h("span", { class: "turning" }), counting.stage.replace(/^[^:]*: /, "") || "beginning"), buttons: [end(app, one)], advice: [] };
  if (counting?.is === "failed" && !sheet) return { status: h("p", { class: "fault" }, counting.said.map(short).map(plain).join("\n")), buttons: [again("Count again"), remove], advice: [] };
  if (!sheet && app.state.teaching.includes(photo.name)) return { status: line("taught colours, or measured a light"), buttons: [], advice: [] };
  if (!sheet) return { status: line(counting?.is === "ended" ? "stopped before it was done" : "not counted yet"), buttons: [again("Count"), remove], advice: [] };
  const { standing: where } = sheet;
  const place = sheet.place ?? where.place;
  const counted = `${sheet.pieces} pieces, ${sheet.sure} sure`;
  const total = !sheet.checked && sheet.total && sheet.total.high > sheet.pieces ? `; probably ${sheet.total.low} to ${sheet.total.high} in all` : "";
  const left = sheet.checked ? "" : sheet.left ? `${sheet.left} to look at` : "nothing left to look at";
  const stands = where.is === "checked" ? `in the stock, entry ${where.entry}` : where.is === "pending" ? `pending in the stock, entry ${where.entry}` : "";
  const status = [line([counted + total, left, stands].filter(Boolean).join(" · ")), place && h("span", { class: "soft" }, place)];
  const picture = h("a", { class: "button", href: `marked/${encodeURIComponent(sheet.sheet)}`, target: "_blank", rel: "noopener" }, "Picture");
  const look = h("button", { type: "button", class: sheet.checked ? "" : "primary", onclick: () => app.review(sheet.sheet) }, sheet.checked ? "Open" : "Look it over");
  const offer = !sheet.checked && sheet.second_photo && sheet.second_photo.would_settle > 2
    ? [adviceLine("second-photo", `A second photo of this tray, taken from the left or the right, would settle some ${sheet.second_photo.would_settle} of ${sheet.second_photo.doubtful} doubtful pieces.`)] : [];
  const warnings = sheet.checked ? [] : sheet.warnings.map(({ code, text }) => adviceLine(code, text));
  if (counting?.is === "failed") status.push(h("p", { class: "fault" }, counting.said.map(short).map(plain).join("\n")));
  // What was said beside the count, such as that its sheet got another name.
  if (counting?.is === "done" && !sheet.checked) status.push(...counting.said.map((said) => h("span", { class: "small-print" }, plain(short(said)))));
  return { status, buttons: [photo && where.is === "new" && again("Count again"), picture, look], advice: [...warnings, ...offer] };
}

const countAnew = (app, sheet) => ask({ title: "Count it anew?", ok: "Count anew", fields: [], lead: "The sheet holds what you put right. It is put aside, and the photo is counted as if for the first time.",
  take: () => count(app, sheet.photos, { ...orderOf(app), together: sheet.photos.length > 1, place: fields.place.input.value.trim() || sheet.place || "", again: true }) });

const line = (...words) => h("p", { class: "status-line" }, words);
const end = (app, one) => h("button", { type: "button", onclick: () => act(app, "end-count", one) }, "Stop");
// A path before a sentence is the photo's own, which is named above.
const short = (sentence) => sentence.replace(/^\S*[\\/]photos[\\/][^:]*: /, "");

async function act(app, what, body) {
  try {
    await post(`api/${what}`, body);
    app.say("");
  } catch (error) {
    app.say(error.message);
  }
  await app.look();
}

const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`;
const adviceLine = (code, text) => h("li", {}, drawing(code), h("span", {}, sentence(text)));

// What to do, drawn: a tray seen from the side, a phone above it, and what is to be moved.
function drawing(code) {
  const tray = s("path", { class: "line", d: "M8 40h56M12 40v-3h6v-3h9v3h8v-5h7v5h14v3" });
  const phone = (x, y, turn = 0) => s("rect", { class: "line", x: x - 8, y: y - 2, width: 16, height: 4, rx: 1.5, transform: `rotate(${turn} ${x} ${y})` });
  const arrow = (d) => s("path", { class: "line", d });
  const lamp = (x, y) => [s("path", { class: "full", d: `M${x - 6} ${y}h12l-3 -6h-6z` }), s("path", { class: "pale", d: `M${x - 6} ${y}h12l8 22h-28z` })];
  const parts = {
    "card-glare": [tray, lamp(52, 12), arrow("M44 8h-14m4 -4l-4 4l4 4")],
    "too-bright": [tray, phone(36, 14), s("circle", { class: "line", cx: 60, cy: 10, r: 4 }), arrow("M60 2v1M60 17v1M52 10h1M67 10h1")],
    "too-dark": [tray, phone(36, 16), lamp(58, 10), arrow("M46 22l5 -5")],
    exposure: [tray, phone(36, 14), s("circle", { class: "line", cx: 60, cy: 10, r: 4 }), arrow("M60 2v1M60 17v1M52 10h1M67 10h1")],
    blurred: [tray, phone(36, 14), arrow("M24 10q-4 4 0 8M20 8q-6 6 0 12M48 10q4 4 0 8M52 8q6 6 0 12")],
    tilted: [tray, phone(20, 16, -35), phone(38, 10), arrow("M24 10q5 -5 8 -3")],
    "card-bent": [s("path", { class: "line", d: "M8 40h56M14 38q22 -14 44 0" }), arrow("M36 16v10m-4 -4l4 4l4 -4")],
    "card-partial": [tray, phone(30, 14), s("rect", { class: "line", x: 54, y: 30, width: 14, height: 7, rx: 1 }), arrow("M62 24h-10m4 -4l-4 4l4 4")],
    "busy-tray": [s("path", { class: "line", d: "M8 40h56M10 36l4 4M20 36l4 4M30 36l4 4M40 36l4 4M50 36l4 4" }), arrow("M36 12v14m-4 -4l4 4l4 -4")],
    heap: [s("path", { class: "line", d: "M8 40h56M22 40l6 -8h16l6 8M30 32l4 -7h8l3 7" }), arrow("M20 30l-8 4M52 30l8 4")],
    "second-photo": [tray, phone(14, 18, -35), phone(36, 10), phone(58, 18, 35)],
  };
  const known = parts[code] ?? [tray, phone(36, 14), s("path", { class: "line", d: "M60 6v10" }), s("circle", { class: "full", cx: 60, cy: 20, r: 1.6 })];
  return s("svg", { viewBox: "0 0 72 46", "aria-hidden": "true" }, known);
}
