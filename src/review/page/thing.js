// A thing that fits no listed shape: what was traced of it and its copies, and the name it gets.

import { post } from "./ask.js";
import { closeLook } from "./card.js";
import { cancel, field, form, openDialog } from "./dialogs.js";
import { h } from "./dom.js";
import * as words from "./words.js";

// Heights without studs, mm: a plate's and a brick's, as docs/conventions.md has them.
const HEIGHTS = [["as flat as a plate", 3.2], ["as high as a brick", 9.6]];

// A copy, to be left out and taken in again; what was pointed at stays.
function copy(app, outline, i, toggle) {
  const look = closeLook(app, outline, "");
  if (i === 0) return h("div", { class: "copy" }, look);
  return h("button", {
    type: "button", class: "copy", "aria-pressed": "true", "aria-label": `Copy ${i + 1} is one of them`,
    onclick: ({ currentTarget: button }) => button.setAttribute("aria-pressed", String(toggle(i))),
  }, look);
}

function told({ size, sides_mm: [short, long], studs, outlines_px: all, counted_as: counted }) {
  const is = `${words.size(size)} studs (${short.toFixed(1)} mm × ${long.toFixed(1)} mm), ${studs ? words.plural(studs, "stud", "studs") : "no studs"} on top.`;
  const here = all.length === 1 ? "One of them lies here" : `${all.length} of them lie here`;
  return [is, `${here}, ${counted ? `counted as ${words.plural(counted, "piece", "pieces")}` : "not counted"} so far.${all.length > 1 ? " Click one to leave it out." : ""}`];
}

// Asks what the thing at a place of the photo is.
export function thingDialog(app, at) {
  const { version } = app.sheet;
  const height = h("input", { name: "height", type: "number", min: 0.5, max: 60, step: 0.1, inputmode: "decimal", value: HEIGHTS[0][1], required: true });
  const name = h("input", { name: "name", type: "text", maxlength: 40, autocomplete: "off", spellcheck: "false", required: true });
  const studs = h("select", { name: "studs" },
    h("option", { value: "seen" }, "as far as they are seen"), h("option", { value: "all" }, "all over it"), h("option", { value: "none" }, "none"));
  const asked = () => ({ at_px: at, height_mm: Number(height.value), ...(studs.value === "seen" ? {} : { studs: studs.value === "all" }) });
  const lead = h("p", { class: "dialog-lead thing-told", role: "status" });
  const copies = h("div", { class: "copies" });
  const submit = h("button", { type: "submit", class: "primary", disabled: true }, "Name it");
  // An answer to an older height is not shown.
  let turn = 0;
  let close;
  let all = 0;
  const leftOut = new Set();
  const count = () => { submit.textContent = all - leftOut.size === 1 ? "Name it" : `Name all ${all - leftOut.size}`; };
  const toggle = (i) => {
    if (!leftOut.delete(i)) leftOut.add(i);
    count();
    return !leftOut.has(i);
  };
  async function trace() {
    const mine = (turn += 1);
    submit.disabled = true;
    lead.textContent = "Tracing it in the photo…";
    copies.replaceChildren();
    try {
      const found = await post(`api/sheet/${app.index}/thing`, { version, ...asked() });
      if (mine !== turn) return;
      lead.replaceChildren(...told(found).flatMap((line, i) => (i ? [h("br"), line] : [line])));
      leftOut.clear();
      all = found.outlines_px.length;
      copies.replaceChildren(...found.outlines_px.map((outline, i) => copy(app, outline, i, toggle)));
      count();
      submit.disabled = false;
    } catch (error) {
      if (mine === turn) lead.textContent = `${error.message[0].toUpperCase()}${error.message.slice(1)}.`;
    }
  }
  height.addEventListener("change", trace);
  studs.addEventListener("change", trace);
  const usual = HEIGHTS.map(([label, mm]) => h("button", { type: "button", onclick: () => { height.value = mm; trace(); } }, label));
  const body = form(async (data) => {
    const called = String(data.get("name")).trim();
    if (!called) throw new Error("Write what you call it: lower-case letters, spaces and hyphens.");
    submit.disabled = true;
    try {
      await app.act(() => ({ body: { ...asked(), name: called, left_out: [...leftOut] }, next: true }), "thing");
    } finally {
      submit.disabled = false;
    }
    await app.relearn();
    close();
    app.say(`“${called}” is in your list of shapes now and will be counted as such. Undo takes these pieces back, not the shape.`, false);
  },
  h("div", { class: "pair" },
    field("How high it is without studs, mm", height, "one photo does not tell"),
    field("Studs on top", studs)),
  h("div", { class: "dialog-tools" }, usual),
  field("What you call it", name, "lower-case letters, spaces, hyphens"),
  h("div", { class: "dialog-buttons" }, cancel((...a) => close(...a)), submit));
  close = openDialog("A shape of your own", [
    h("p", {}, "For what fits no listed shape. It is traced in the photo, and so is what else looks like it and was not sure. It must lie apart from its neighbours, studs up."),
    lead, copies, body], { wide: true });
  name.focus();
  trace();
}
