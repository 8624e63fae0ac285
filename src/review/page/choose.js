// A dialog with pictures to choose from, by pointer, number, arrows or typing.

import { h } from "./dom.js";

// With more than this many there is a field to type in instead of numbers to press.
const NUMBERED = 9;

// Gives the value chosen, or null. `make` turns typed text that is on no list into a
// value of its own.
export function choose({ title, hint, options, current, make }) {
  return new Promise((resolve) => {
    const typed = options.length > NUMBERED || make;
    const filter = typed && h("input", {
      type: "text", class: "filter", "aria-label": make ? "Filter, or type a new name" : "Filter",
      placeholder: make ? "Type to filter, or a new name" : "Type to filter", autocomplete: "off", spellcheck: "false",
    });
    const list = h("div", { class: "options", role: "listbox", "aria-label": title });
    const dialog = h("dialog", { class: "choose", "aria-label": title },
      h("h2", {}, title), hint && h("p", { class: "hint" }, hint), filter, list,
      h("div", { class: "dialog-buttons" }, h("button", { type: "button", class: "quiet", onclick: () => end(null) }, "Cancel ", h("kbd", {}, "Esc"))));
    let shown = [];

    function end(value) {
      dialog.close();
      dialog.remove();
      resolve(value);
    }

    function draw() {
      const text = filter ? filter.value.trim().toLowerCase() : "";
      const plain = (words) => words.toLowerCase().replace("×", "x");
      const fits = options.filter((option) => plain(option.label).includes(plain(text)));
      // What begins with the typed text is meant before what merely holds it.
      fits.sort((a, b) => plain(b.label).startsWith(plain(text)) - plain(a.label).startsWith(plain(text)));
      shown = text ? fits : options;
      const exact = shown.some((option) => plain(option.label) === plain(text));
      if (make && text && !exact) {
        shown = [...shown, { value: make(filter.value.trim()), label: `“${filter.value.trim()}”`, detail: "a new name" }];
      }
      list.replaceChildren(...shown.map((option, i) => h("button", {
        type: "button", role: "option", class: "option", "aria-selected": String(option.value === current),
        onclick: () => end(option.value),
      }, option.picture, h("span", { class: "option-label" }, option.label),
      option.detail && h("span", { class: "option-detail" }, option.detail),
      !typed && h("kbd", {}, String(i + 1)))));
    }

    dialog.addEventListener("cancel", (event) => { event.preventDefault(); end(null); });
    dialog.addEventListener("keydown", (event) => {
      event.stopPropagation();
      const buttons = [...list.children];
      const at = buttons.indexOf(document.activeElement);
      const columns = buttons.filter((b) => b.offsetTop === buttons[0]?.offsetTop).length || 1;
      const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: columns, ArrowUp: -columns }[event.key];
      if (event.key === "Enter" && event.target === filter) {
        event.preventDefault();
        if (shown.length) end(shown[0].value);
      } else if (step && !(event.target === filter && (event.key === "ArrowLeft" || event.key === "ArrowRight"))) {
        event.preventDefault();
        if (at + step < 0 && filter) filter.focus();
        else buttons[Math.min(Math.max(at + (at < 0 ? 1 : step), 0), buttons.length - 1)]?.focus();
      } else if (!typed && /^[1-9]$/.test(event.key) && shown[event.key - 1]) {
        event.preventDefault();
        end(shown[event.key - 1].value);
      }
    });
    filter && filter.addEventListener("input", draw);
    draw();
    document.body.append(dialog);
    dialog.showModal();
    (filter || list.querySelector('[aria-selected="true"]') || list.firstChild)?.focus();
  });
}
