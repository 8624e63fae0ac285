// Questions in a dialog, colours as patches, and papers to print.

import { byId, h, s } from "./dom.js";

let names = 0;

// Asks for values; gives them once they were taken, or null. What cannot be taken is said in the dialog, which stays.
export function ask({ title, lead, fields, ok, take, also }) {
  return new Promise((resolve) => {
    const wrong = h("p", { class: "wrong", role: "alert", hidden: true });
    const controls = fields.map((field) => ({ ...field, control: control(field) }));
    const button = h("button", { type: "submit", class: "primary" }, ok);
    // A second thing that can be done, beside cancelling.
    const other = also && h("button", { type: "button", class: "danger", onclick: () => run(also[1]) }, also[0]);
    const values = () => Object.fromEntries(controls.map(({ name, kind, control }) => [name, kind === "tick" ? control.input.checked : control.input.value.trim()]));
    const run = async (work) => {
      button.disabled = true;
      wrong.hidden = true;
      try {
        const value = values();
        const taken = work ? await work(value) : value;
        dialog.close();
        resolve(taken ?? value);
      } catch (error) {
        wrong.textContent = error.message;
        wrong.hidden = false;
      } finally {
        button.disabled = false;
      }
    };
    const form = h("form", { method: "dialog", onsubmit: (event) => { event.preventDefault(); run(take); } },
    h("h2", { id: "ask-title" }, title), lead && h("p", { class: "soft" }, lead), controls.map((c) => c.control.whole), wrong,
    h("div", { class: "dialog-buttons" }, h("button", { type: "button", class: "quiet", onclick: () => { dialog.close(); resolve(null); } }, "Cancel"), other, button));
    const dialog = h("dialog", { "aria-labelledby": "ask-title", oncancel: () => resolve(null), onclose: () => dialog.remove() }, form);
    document.body.append(dialog);
    dialog.showModal();
    (dialog.querySelector("input, select") ?? button).focus();
  });
}

function control({ label, kind = "text", value = "", options = [], hint, required = true, ...more }) {
  const id = `field-${names++}`;
  if (kind === "tick") {
    const input = h("input", { type: "checkbox", id, checked: value === true });
    return { input, whole: h("label", { class: "tick" }, input, h("span", {}, label)) };
  }
  if (kind === "choice") {
    const input = h("select", { id }, options.map(([v, words]) => h("option", { value: v, selected: v === value }, words)));
    return { input, whole: h("label", { class: "field" }, label, input, hint && h("span", { class: "hint" }, hint)) };
  }
  const list = options.length ? h("datalist", { id: `${id}-list` }, options.map((v) => h("option", { value: v }))) : null;
  const input = h("input", { type: kind, id, value, required, autocomplete: "off", list: list && list.id, ...more });
  return { input, whole: h("label", { class: "field" }, label, input, list, hint && h("span", { class: "hint" }, hint)) };
}

export { control };

// A colour's patch, from CIELAB (D65).
export function swatch(lab) {
  return s("svg", { class: "swatch", viewBox: "0 0 20 20", "aria-hidden": "true" },
    s("rect", { x: 1, y: 1, width: 18, height: 18, rx: 4, fill: lab ? hex(lab) : "none", class: "edge" }));
}

// CIE 15: CIELAB to XYZ under D65; IEC 61966-2-1: XYZ to sRGB.
export function hex([l, a, b]) {
  const fy = (l + 16) / 116;
  const back = (t) => (t > 6 / 29 ? t ** 3 : 3 * (6 / 29) ** 2 * (t - 4 / 29));
  const [x, y, z] = [0.95047 * back(fy + a / 500), back(fy), 1.08883 * back(fy - b / 200)];
  const linear = [3.2406 * x - 1.5372 * y - 0.4986 * z, -0.9689 * x + 1.8758 * y + 0.0415 * z, 0.0557 * x - 0.204 * y + 1.057 * z];
  const level = (v) => Math.round(255 * Math.min(1, Math.max(0, v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055)));
  return `#${linear.map((v) => level(v).toString(16).padStart(2, "0")).join("")}`;
}

export const today = () => new Date().toLocaleDateString([], { year: "numeric", month: "long", day: "numeric" });

// What lies under a paper is out of reach.
const covered = (is) => { for (const part of [byId("room"), document.querySelector(".bar")]) part.inert = is; };

// Shows a paper with its buttons; what was there before comes back when it is closed.
export function paper(...children) {
  const whole = byId("paper");
  const before = document.activeElement;
  const close = () => {
    whole.hidden = true;
    covered(false);
    document.removeEventListener("keydown", onkey);
    before?.focus();
  };
  const onkey = (event) => { if (event.key === "Escape") close(); };
  const print = h("button", { type: "button", onclick: () => window.print() }, "Print, or save as PDF");
  whole.replaceChildren(h("div", { class: "paper-tools" }, h("button", { type: "button", onclick: close }, "Close"), print), ...children.flat(Infinity));
  whole.hidden = false;
  covered(true);
  document.addEventListener("keydown", onkey);
  print.focus();
}
