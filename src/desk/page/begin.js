// The first visit: four steps, each with what to do next.

import { h } from "./dom.js";
import { post } from "./ask.js";

let place;

export function open(app, room) {
  place = h("ol", { class: "steps" });
  room.append(h("div", { class: "room-head" }, h("h2", {}, "From loose pieces to a stock you can plan with")),
    h("p", { class: "lead" }, "Pour a cup on a plain tray beside the printed card, take a photo from above, look at what is doubtful, and keep it."), place);
}

export function draw(app) {
  const { state } = app;
  const counted = state.sheets.length > 0;
  const checked = state.sheets.some((sheet) => sheet.checked);
  const taught = state.colours.length > 0;
  // What comes next is the only thing that stands out.
  const printed = state.printed || taught || counted || localStorage.getItem("card printed") !== null;
  const over = checked && state.sheets.every((sheet) => sheet.checked);
  const at = [printed, taught, counted, over].indexOf(false);
  const steps = [
    { done: printed, title: "Print the card",
      words: "It tells sizes and colours in every photo. Print at 100 %, on matt paper, and hold a ruler against its two bars: each is 100 mm. Cut along the line only with scissors made for it, away from your fingers.",
      buttons: [link("Card for A4 (PDF)", "card/a4.pdf", at === 0), link("Card for US Letter (PDF)", "card/letter.pdf"), !printed && h("button", { type: "button", onclick: () => { localStorage.setItem("card printed", "yes"); draw(app); } }, "It is printed")] },
    { done: taught, title: "Teach your colours",
      words: "One piece of each colour on the tray, in rows, with the card: one photo, and the names that you use.",
      buttons: [go("Teach colours", "#colours", at === 1), app.samples && !counted && h("button", { type: "button", onclick: () => trial(app) }, "Try with sample photos instead")] },
    { done: counted, title: "Count the first cup",
      words: "Spread the pieces so that they lie flat and apart, the card beside them. Keep small pieces away from small children.",
      buttons: [go("Bring photos in", "#photos", at === 2)] },
    { done: over, title: "Look at what is doubtful, and keep it",
      words: counted ? leftWords(state) : "Each doubtful piece is shown with what it could be. One key or tap settles it.",
      buttons: [state.sheets.some((sheet) => !sheet.checked) && h("button", { type: "button", class: at === 3 ? "primary" : "", onclick: () => app.review() }, "Look at the sheets"),
        checked && go("See the stock", "#stock"), checked && go("Plan with it", "#plans")] },
  ];
  place.replaceChildren(...steps.map((step, i) => h("li", { class: `step-panel ${step.done ? "is-done" : i === at ? "next" : ""}` },
    h("span", { class: "number", "aria-hidden": "true" }, step.done ? "✓" : i + 1),
    h("h3", {}, step.title, step.done && h("span", { class: "unseen" }, " (done)")), h("p", { class: "soft" }, step.words),
    h("div", { class: "buttons" }, step.buttons))));
}

function leftWords(state) {
  const open = state.sheets.filter((sheet) => !sheet.checked);
  if (!open.length) return "All counted photos were looked at.";
  const left = open.reduce((sum, sheet) => sum + sheet.left, 0);
  return `${open.length === 1 ? "One photo waits" : `${open.length} photos wait`} for you, with ${left} to look at.`;
}

const link = (words, href, primary) => h("a", { class: `button ${primary ? "primary" : ""}`, href, target: "_blank", rel: "noopener" }, words);
const go = (words, href, primary) => h("a", { class: `button ${primary ? "primary" : ""}`, href }, words);

// The sample pieces have colours that come along.
async function trial(app) {
  try {
    const names = await post("api/samples", {});
    await post("api/count", { photos: names, place: "sample cup", sample_colours: true });
    app.go("photos");
  } catch (error) {
    app.say(error.message);
  }
}
