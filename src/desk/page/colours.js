// Colours and lights: the card, teaching, measuring, what was taught.

import { post } from "./ask.js";
import { h, s } from "./dom.js";
import { ask, control, swatch } from "./forms.js";

// Where pieces are named: it stays as it is while other rooms are looked at.
const place = h("div", {});
let list, taught = "";

export function open(app, room) {
  taught = "none yet";
  list = h("ul", { class: "colour-list" });
  const file = (id, words, work) => {
    const input = h("input", { type: "file", id, class: "unseen", accept: "image/*,.heic,.heif", onchange: () => { const files = [...input.files]; input.value = ""; if (files.length) work(files[0]); } });
    return [input, h("label", { class: `button ${id === "teach-photo" ? "primary" : ""}`, for: id }, words)];
  };
  room.append(h("div", { class: "room-head" }, h("h2", {}, "Colours and lights"),
    h("div", { class: "buttons" }, h("a", { class: "button", href: "card/a4.pdf", target: "_blank", rel: "noopener" }, "Card, A4"), h("a", { class: "button", href: "card/letter.pdf", target: "_blank", rel: "noopener" }, "Card, Letter"))),
  h("section", { class: "panel" }, h("h3", {}, "Teach colours"),
    h("p", { class: "soft" }, "One piece of each colour on the tray, in rows, all of one form, the card beside them. Teach them in each light that you photograph in."),
    h("div", { class: "buttons" }, file("teach-photo", "Choose a photo of one piece of each colour…", (photo) => teach(app, photo)), file("light-photo", "Measure a light, or the printed card…", (photo) => measure(app, photo))), place),
  h("h3", {}, "What was taught"), list);
}

export function draw(app) {
  const now = JSON.stringify([app.state.colours, app.state.lights]);
  if (now === taught) return;
  taught = now;
  if (!app.state.colours.length) {
    list.replaceChildren(h("li", { class: "none" }, "No colour yet. Until then pieces have general names, such as ‘dark blue’."));
    return;
  }
  list.replaceChildren(...(app.taught ?? []).map((colour) => h("li", {}, swatch(colour.lab),
    h("span", {}, h("strong", {}, colour.name), h("br"), h("span", { class: "small-print" }, colour.lights.map((light) => light.light).join(", ")),
      colour.alike?.length > 0 && h("span", { class: "small-print" }, h("br"), `close to ${colour.alike.map((other) => other.name).join(", ")}`)),
    h("button", { type: "button", class: "quiet", "aria-label": `Change ${colour.name}`, onclick: () => change(app, colour) }, "…"))));
}

const change = (app, colour) => {
  const after = async () => {
    await app.readColours();
    taught = "";
    draw(app);
  };
  return ask({ title: colour.name, ok: "Rename", lead: `Looks ${colour.general}. A new name goes for the stock too. When it is forgotten, the stock keeps what it holds.`,
    fields: [{ name: "new", label: "New name", value: colour.name }],
    take: async (value) => {
      if (value.new !== colour.name) await app.change({ do: "rename", what: "colour", old: colour.name, new: value.new });
      await after();
    },
    also: ["Forget it", async () => {
      await app.change({ do: "forget", colour: colour.name });
      await after();
    }] });
};

async function measure(app, photo) {
  let name, kept = false;
  await ask({ title: "Measure a light", ok: "Measure", lead: `By the card in ${photo.name}. Later photos are compared with it: a lamp that was changed is noticed.`, fields: [
    { name: "light", label: "What the light is called", placeholder: "kitchen", options: app.state.lights },
    { name: "print", label: "Measure this printed card too (in soft daylight, once)", kind: "tick" },
  ], take: async (value) => {
    name ??= (await app.sendPhotos([photo]))[0];
    if (!name) throw new Error("the photo did not come in; choose it again");
    await app.change({ do: "calibrate", photo: name, ...value });
    kept = true;
    app.say(`The light ‘${value.light}’ is measured.`, false);
  } });
  // One that measured nothing is of no use among the cups.
  if (name && !kept) await post("api/remove", { photo: name }).catch((error) => app.say(error.message));
}

// Shows the pieces of a photo with a field for each name. Names can be typed in any order, or the pieces clicked.
async function teach(app, photo) {
  place.replaceChildren(h("p", { class: "status-line" }, h("span", { class: "turning" }), "finding the pieces…"));
  let name, sheet;
  try {
    [name] = await app.sendPhotos([photo]);
    if (!name) { place.replaceChildren(); return; }
    const { out } = await post("api/look", { photo: name });
    [sheet] = JSON.parse(out);
  } catch (error) {
    place.replaceChildren(h("p", { class: "fault" }, error.message));
    return;
  }
  const { pieces } = sheet;
  const { width_px: width, height_px: height } = sheet.photo;
  const used = new Map();
  const proposed = pieces.map((piece) => {
    const n = (used.get(piece.colour) ?? 0) + 1;
    used.set(piece.colour, n);
    return n === 1 ? piece.colour : `${piece.colour} ${n}`;
  });
  const rows = pieces.map((piece, i) => {
    const input = h("input", { type: "text", value: proposed[i], "aria-label": `Name of piece ${i + 1}`, autocomplete: "off", onfocus: () => { mark(i); input.select(); } });
    input.addEventListener("input", () => {
      outlines[i].classList.toggle("left-out", !input.value.trim());
      const named = rows.filter((row) => row.input.value.trim()).length;
      button.textContent = `Teach these ${named} colours`;
    });
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      (rows[i + 1]?.input ?? button).focus();
    });
    return { input, whole: h("div", { class: "name-row" }, h("span", { class: "number" }, i + 1), swatch(piece.lab), input) };
  });
  const letter = Math.max(width, height) / 34;
  const outlines = pieces.map((piece, i) => s("g", { onclick: () => rows[i].input.focus() },
    s("polygon", { points: piece.outline_px.map((p) => p.join()).join(" ") }),
    s("text", { x: piece.x_px, y: piece.y_px, "font-size": letter }, i + 1)));
  const mark = (at) => outlines.forEach((outline, i) => outline.classList.toggle("now", i === at));
  const light = control({ label: "What this light is called", value: app.state.lights.length ? "" : "daylight", options: app.state.lights, placeholder: "daylight, kitchen lamp" });
  const button = h("button", { type: "submit", class: "primary" }, `Teach these ${pieces.length} colours`);
  const wrong = h("p", { class: "fault", role: "alert" });
  const busy = h("p", { class: "status-line", role: "status", hidden: true }, h("span", { class: "turning" }), "teaching; this may take half a minute…");
  const cancel = h("button", { type: "button", class: "quiet", onclick: async () => {
    place.replaceChildren();
    await post("api/remove", { photo: name }).catch((error) => app.say(error.message));
    await app.look();
  } }, "Cancel");
  const form = h("form", { onsubmit: async (event) => {
    event.preventDefault();
    button.disabled = cancel.disabled = true;
    wrong.textContent = "";
    busy.hidden = false;
    try {
      // A piece whose name was taken out is left out.
      const named = rows.map((row, i) => ({ name: row.input.value.trim(), at: [pieces[i].x_px, pieces[i].y_px] })).filter((one) => one.name);
      const names = named.map((one) => one.name);
      const { value } = await app.change({ do: "teach", photo: name, names, at: named.map((one) => one.at), light: light.input.value.trim() });
      await app.readColours();
      taught = "";
      draw(app);
      place.replaceChildren(h("p", { class: "status-line" }, `${value?.length ?? names.length} colours are taught in the light ‘${light.input.value.trim()}’.`, h("a", { class: "button primary", href: "#photos" }, "Count a cup")));
    } catch (error) {
      wrong.textContent = error.message;
    } finally {
      button.disabled = cancel.disabled = false;
      busy.hidden = true;
    }
  } }, h("div", { class: "names" }, rows.map((row) => row.whole)), light.whole, wrong,
  h("div", { class: "buttons" }, button, cancel, busy));
  place.replaceChildren(pieces.length
    ? h("div", { class: "naming" }, h("div", { class: "naming-photo" }, h("img", { src: `photo/${encodeURIComponent(name)}/1600`, alt: "The photo, with a number on each piece" }), s("svg", { viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true" }, outlines)),
      h("div", {}, h("p", { class: "soft" }, "Say what you call each colour. The names that stand there are general ones; type your own over them. Empty the field of what is no piece."), form))
    : h("p", { class: "fault" }, "No piece was found in this photo; show the tray from above, with the whole card."));
  rows[0]?.input.focus();
}
