// The choice, at the end of a sheet, to learn colours from what was put right.

import { h } from "./dom.js";
import { swatch } from "./draw.js";
import * as words from "./words.js";

const left = (one) => `piece ${one.piece}, ${one.colour}: ${one.text}`;

// What is offered, and whether it is wanted; nothing to say where nobody spoke of a colour.
export function learning(app, offer) {
  if (!offer) return { element: null, wish: () => null };
  const { colours, left_out: out, learned } = offer;
  const pieces = colours.reduce((sum, colour) => sum + colour.pieces.length, 0);
  const box = h("input", { type: "checkbox", name: "learn", checked: learned });
  const slips = out.filter((one) => one.doubtful);
  const unseen = out.filter((one) => !one.doubtful);
  const choice = (pieces > 0 || learned) && h("label", { class: "radio" }, box,
    h("span", {}, pieces > 0 ? `Learn colours from what I put right (${words.plural(pieces, "piece", "pieces")})` : "Keep what this sheet taught of colours"));
  const element = h("fieldset", { class: "learning" }, h("legend", {}, "Colours"),
    choice || h("p", { class: "hint" }, "What you put right teaches no colour."),
    learned && h("p", { class: "hint" }, "This sheet has taught colours before: ticked, they are renewed; unticked, they are taken back."),
    pieces > 0 && h("ul", { class: "learned" }, colours.map((colour) => h("li", { class: colour.near && "wide" }, swatch(app.hex(colour.name)),
      h("span", {}, h("b", {}, colour.name), ` from ${words.plural(colour.pieces.length, "piece", "pieces")}`,
        colour.new && h("span", { class: "new" }, "new"),
        colour.near && h("span", { class: "doubt" }, ` as good as ${colour.near.name}: is it the same colour?`))))),
    slips.length > 0 && h("ul", { class: "caution slips" }, slips.map((one) => h("li", {}, `Not learned: ${left(one)}.`))),
    unseen.length > 0 && h("details", {}, h("summary", {}, `${words.plural(unseen.length, "piece teaches", "pieces teach")} no colour: why`),
      h("ul", {}, unseen.map((one) => h("li", {}, left(one))))));
  return { element, wish: () => (choice ? box.checked : null) };
}
