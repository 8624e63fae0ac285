// Making elements without innerHTML: what a sheet says is always text, never markup.

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  for (const child of children.flat(Infinity)) {
    if (child !== undefined && child !== null && child !== false) element.append(child);
  }
  return element;
}

export function h(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

export function s(tag, attributes = {}, ...children) {
  return fill(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);
}

export const byId = (id) => document.getElementById(id);

// A button with its key shown, as a reminder. The key itself is heard in main.js.
export function keyButton(text, key, onclick, more = {}) {
  const name = key?.length > 1 ? key : key?.toUpperCase();
  return h("button", { type: "button", "aria-keyshortcuts": key, onclick, ...more },
    h("span", {}, text), key && " ", key && h("kbd", {}, name));
}
