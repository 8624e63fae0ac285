// Forms that ask for more than a choice: a group, the end of a sheet, the keys.

import { h, keyButton } from "./dom.js";
import { get, post } from "./ask.js";
import { newColours } from "./card.js";
import { swatch } from "./draw.js";
import { learning } from "./learning.js";
import * as words from "./words.js";

// Opens a dialog; Escape and its own buttons close it.
export function openDialog(title, content, { onclose, wide = false } = {}) {
  const dialog = h("dialog", { "aria-label": title, class: wide ? "wide-dialog" : null }, h("h2", {}, title), content);
  const close = () => {
    dialog.close();
    dialog.remove();
    onclose?.();
  };
  dialog.addEventListener("cancel", (event) => { event.preventDefault(); close(); });
  dialog.addEventListener("keydown", (event) => event.stopPropagation());
  document.body.append(dialog);
  dialog.showModal();
  return close;
}

export const cancel = (close, text = "Cancel") =>
  h("button", { type: "button", class: "quiet", onclick: () => close() }, text, " ", h("kbd", {}, "Esc"));

export function field(label, input, hint) {
  return h("label", { class: "field" }, h("span", {}, label), input, hint && h("span", { class: "hint" }, hint));
}

const select = (name, values, chosen, show = (v) => v) => h("select", { name },
  values.map((value) => h("option", { value, selected: value === chosen }, show(value))));

// A form's submit by Enter or button; the dialog stays open where it is refused.
export function form(submit, ...content) {
  const wrong = h("p", { class: "wrong", role: "alert", hidden: true });
  return h("form", {
    novalidate: true,
    onsubmit: async (event) => {
      event.preventDefault();
      wrong.hidden = true;
      try {
        await submit(new FormData(event.target));
      } catch (error) {
        wrong.textContent = error.message;
        wrong.hidden = false;
      }
    },
  }, content, wrong);
}

// One group: step through its pieces, set its number outright, rename its colour.
export function groupDialog(app, group) {
  const pieces = app.sheet.pieces.filter((p) => p.form === group.form && p.size === group.size && p.colour === group.colour);
  const count = h("input", { name: "count", type: "number", min: 0, max: 100000, inputmode: "numeric", value: group.count, required: true });
  const reason = h("input", { name: "reason", type: "text", maxlength: 200, value: group.reason ?? "", placeholder: "counted by hand, a pile in the corner…" });
  const kind = { form: group.form, size: group.size, colour: group.colour };
  let close;
  const set = form(async (data) => {
    const number = String(data.get("count")).trim();
    if (!/^\d{1,6}$/.test(number)) throw new Error("Write the number in digits, from 0 to 100000.");
    await app.act(() => ({ correction: { what: "count", ...kind, count: Number(number), reason: data.get("reason") } }));
    close();
  },
  h("div", { class: "pair" }, field("How many there are", count), field("Why", reason, "kept with the sheet")),
  h("div", { class: "dialog-buttons" }, cancel((...a) => close(...a)),
    group.reason && h("button", { type: "button", class: "quiet", onclick: async () => {
      await app.act(() => ({ correction: { what: "count", ...kind, count: null } })).catch(() => {});
      close();
    } }, "Let the pieces count"),
    h("button", { type: "submit", class: "primary" }, "Set the number")));
  close = openDialog(words.kind(group), [
    h("p", { class: "dialog-lead" }, swatch(app.hex(group.colour)),
      pieces.length ? `${words.plural(pieces.length, "outline", "outlines")} in the photo.` : "No outline in the photo."),
    pieces.length > 0 && h("div", { class: "dialog-tools" },
      h("button", { type: "button", onclick: () => { close(); app.goTo(pieces[0].id); } }, "Look at its pieces"),
      h("button", { type: "button", onclick: () => { close(); app.actions.recolour(group.colour); } }, "All of this colour are…")),
    set,
  ]);
  count.select();
}

// A number for any kind, also one that no outline shows: a pile.
export function countDialog(app) {
  const forms = app.vocabulary.forms;
  const at = app.at?.kind === "piece" ? app.piece(app.at.id) : app.sheet.pieces[0];
  const size = select("size", [], "");
  const sizes = (name, chosen) => size.replaceChildren(...forms.find((f) => f.name === name).sizes
    .map((value) => h("option", { value, selected: value === chosen }, words.size(value))));
  const known = forms.some((f) => f.name === at?.form) ? at.form : forms[0].name;
  const formField = select("form", forms.map((f) => f.name), known);
  formField.addEventListener("change", () => sizes(formField.value, size.value));
  sizes(known, at?.size);
  const list = h("datalist", { id: "colour-names" }, app.sheet.colours.map((c) => h("option", { value: c.name })));
  let close;
  const body = form(async (data) => {
    const number = String(data.get("count")).trim();
    if (!/^\d{1,6}$/.test(number)) throw new Error("Write the number in digits, from 0 to 100000.");
    await app.act(() => ({ correction: {
      what: "count", form: data.get("form"), size: data.get("size"), colour: data.get("colour").trim(),
      count: Number(number), reason: data.get("reason"),
    } }));
    close();
  },
  h("div", { class: "pair" }, field("Form", formField), field("Size", size)),
  field("Colour", h("input", { name: "colour", type: "text", list: "colour-names", value: at?.colour ?? "", autocomplete: "off" })), list,
  h("div", { class: "pair" },
    field("How many there are", h("input", { name: "count", type: "number", min: 0, max: 100000, inputmode: "numeric" })),
    field("Why", h("input", { name: "reason", type: "text", maxlength: 200, placeholder: "a pile in the corner, counted by hand" }), "kept with the sheet")),
  h("div", { class: "dialog-buttons" }, cancel((...a) => close(...a)), h("button", { type: "submit", class: "primary" }, "Set the number")));
  close = openDialog("Set a number outright", [
    h("p", {}, "For a pile that the photo cannot show. The number goes before what the outlines say."), body]);
  body.querySelector("select")?.focus();
}

// The end of a sheet.
export async function finishDialog(app) {
  const ending = await get(`api/sheet/${app.index}/ending`);
  const { standing } = ending;
  const left = app.open.size + app.sheet.spots.length;
  const fresh = newColours(app, [...app.open]);
  const holds = (name) => ending.places.includes(name.trim());
  const place = h("input", {
    name: "place", type: "text", value: standing.place ?? app.sheet.place ?? "", list: "places", autocomplete: "off",
    disabled: standing.is === "pending", maxlength: 80,
  });
  const radio = (value, text) => h("label", { class: "radio" }, h("input", { type: "radio", name: "mode", value }), h("span", {}, text));
  const modes = h("fieldset", { class: "modes" }, h("legend", {}, "This place holds pieces already. These…"),
    radio("add", "come on top"), radio("recount", "replace what is there"));
  const learn = learning(app, ending.learn);
  const update = () => { modes.hidden = standing.is !== "new" || !holds(place.value); };
  place.addEventListener("input", update);
  update();
  let close;
  const send = async (checked, data) => {
    const mode = modes.hidden ? null : data.get("mode");
    const answer = await app.finish({ checked, place: place.disabled ? "" : place.value.trim(), mode, learn: learn.wish() });
    close();
    doneDialog(app, answer);
  };
  const body = form((data) => send(data.get("as") !== "pending", data),
    field("Where these pieces live", place, standing.is === "pending" ? `Pending there since entry ${standing.entry}.` : "A cup, a drawer: as you name it."),
    h("datalist", { id: "places" }, ending.places.map((name) => h("option", { value: name }))),
    modes,
    learn.element,
    left === 0 && ending.spot_check && h("div", { class: "spot-check" },
      h("p", {}, ending.spot_check.why, ` Look at ${ending.spot_check.ids.length} of this sheet, picked by chance? It takes a key, and you may leave it.`),
      h("button", { type: "button", id: "spot-check", onclick: () => { close(); app.actions.check(ending.spot_check.ids); } }, "Spot check")),
    h("input", { type: "hidden", name: "as", value: "checked" }),
    h("div", { class: "dialog-buttons" }, cancel((...a) => close(...a)),
      h("button", { type: "button", onclick: (event) => submitAs(event, "pending") }, "Leave it pending"),
      left > 0 && h("button", { type: "button", onclick: takeAll }, `Take ${left === 1 ? "the 1 left" : `all ${left} left`} as counted`),
      // Enter must not end the looking.
      left > 0 ? h("button", { type: "button", class: "primary", onclick: () => close() }, "Go on looking ", h("kbd", {}, "Enter"))
        : h("button", { type: "submit", class: "primary" }, "Post as checked ", h("kbd", {}, "Enter"))));
  function submitAs(event, how) {
    const owner = event.target.closest("form");
    owner.elements.as.value = how;
    owner.requestSubmit();
  }
  async function takeAll() {
    await app.act(() => ({ correction: { what: "take-as-counted", ids: [...app.open], spots: app.sheet.spots.map((_, i) => i) } })).catch(() => {});
    close();
    app.at = null;
    app.draw();
    finishDialog(app);
  }
  close = openDialog("Finish this sheet", [
    h("p", { class: "dialog-lead" }, `${words.plural(app.sheet.total, "piece", "pieces")} in ${words.groups(app.sheet)}, `,
      `${words.done(app.sheet.done)}.`),
    left > 0 && h("p", { class: "caution" }, `${words.plural(left, "thing is", "things are")} still to look at. You can go on later: everything is kept. What is taken as counted keeps its doubt, in the stock too.`,
      fresh > 0 && ` ${fresh === 1 ? "One has a colour that was" : `${fresh} have colours that were`} never taught; taken as counted ${fresh === 1 ? "it keeps its general name" : "they keep their general names"}.`),
    body]);
  if (place.value || left > 0) body.querySelector("button.primary").focus();
  else place.focus();
}

// What was done, and what comes next.
function doneDialog(app, answer) {
  app.sheets = answer.sheets;
  const next = answer.sheets.findIndex((line, i) => i !== app.index && line.standing.is !== "checked");
  let close;
  const go = next >= 0
    ? h("button", { type: "button", class: "primary", onclick: () => { close(); app.openSheet(next); } }, `Next sheet: ${answer.sheets[next].file} `, h("kbd", {}, "Enter"))
    : h("button", { type: "button", class: "primary", onclick: () => { close(); endReview(app); } }, app.desk ? "Back to the desk " : "Close the review ", h("kbd", {}, "Enter"));
  close = openDialog("Done", [h("p", { class: "dialog-lead" }, answer.done),
    h("div", { class: "dialog-buttons" }, cancel((...a) => close(...a), "Stay here"), go)]);
  go.focus();
}

async function endReview(app) {
  if (app.desk) { location.href = "../#photos"; return; }
  await post("api/end", {}).catch(() => {});
  app.ended();
}

// Every sheet, to go from one to another.
export async function sheetsDialog(app) {
  const start = await get("api/start");
  app.sheets = start.sheets;
  let close;
  const stands = (line) => line.standing.is === "checked" ? "posted as checked"
    : `${line.left ? words.plural(line.left, "thing to look at", "things to look at") : "nothing left to look at"}${line.standing.is === "pending" ? ", pending" : ""}`;
  close = openDialog("Sheets", [
    h("div", { class: "sheet-list" }, start.sheets.map((line, i) => h("button", {
      type: "button", class: "row sheet-row", "aria-current": i === app.index ? "true" : null, onclick: () => { close(); app.openSheet(i); },
    }, h("span", { class: "row-colour" }, line.file), h("span", { class: "row-piece" }, line.place ?? "no place yet"), h("span", { class: "row-range" }, stands(line))))),
    h("div", { class: "dialog-buttons" }, cancel((...a) => close(...a)),
      h("button", { type: "button", class: "quiet", onclick: () => { close(); endReview(app); } }, "Close the review"))], { wide: true });
}

export function helpDialog() {
  const lines = [
    ["Enter", "what the highlighted button says: right as it stands, nothing to count here, on to the next"], ["1 … 9", "it is this one instead"],
    ["← →", "the one before, the one after"], ["F  Z  C  V", "another form, size, colour, face"],
    ["X", "no piece: remove it"], ["S  J", "split into two; join two into one"],
    ["A", "add a piece: drag around it, or place it with the arrow keys"], ["O", "a shape of your own, which no list has yet"], ["R", "all of this colour are really…"],
    ["G", "set a number outright"], ["T", "the taught colours are all there are, or not"], ["U  Y", "undo, redo"], ["L", "look through all pieces, or only what is open"],
    ["+ − 0", "zoom in, out, whole photo; Shift and arrows move it"], ["B", "pieces side by side, and back"], ["N", "the next photo of the same tray"], ["M", "all sheets"], ["P", "finish this sheet"],
  ];
  const close = openDialog("Keys", [
    h("dl", { class: "keys" }, lines.map(([keys, text]) => [h("dt", {}, keys.split(/\s+/).map((k) => /[…]/.test(k) ? k : h("kbd", {}, k))), h("dd", {}, text)])),
    h("div", { class: "dialog-buttons" }, cancel(() => close(), "Close"))]);
}
