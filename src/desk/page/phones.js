// Phones: the code that lets one in, and those that came.

import { get, post } from "./ask.js";
import { h, s } from "./dom.js";

const LOOK_AGAIN = 1500;

export async function phones(app) {
  let shown = "", over = false;
  const body = h("div", { class: "phones" });
  const dialog = h("dialog", { "aria-labelledby": "phones-title", onclose: () => { over = true; dialog.remove(); } },
    h("h2", { id: "phones-title" }, "Phones"), body,
    h("div", { class: "dialog-buttons" }, h("button", { type: "button", class: "primary", onclick: () => dialog.close() }, "Close")));
  const draw = (answer) => {
    const now = JSON.stringify(answer);
    if (now === shown) return;
    shown = now;
    body.replaceChildren(...(answer.door ? door(answer) : closed()));
  };
  const doing = (asked) => asked.then(draw, (error) => app.say(error.message));
  const door = ({ door: { address, locked, devices }, code }) => [
    address
      ? h("div", { class: "pairing" }, picture(code), h("div", {}, h("p", {}, "Point the phone’s camera at this, or type the address:"), h("p", { class: "address" }, address), h("p", { class: "small-print" }, "Good once, and for ten minutes.")))
      : h("p", { class: locked ? "caution" : "soft" }, locked ? "Ten wrong codes came from the network, so the code was locked. If that was not you, somebody in the network is trying to come in." : "There is no code that is good now."),
    h("div", { class: "buttons" }, h("button", { type: "button", onclick: () => doing(post("api/new-code", {})) }, address ? "Another code" : "New code")),
    h("h3", {}, "Let in"),
    devices.length
      ? h("ul", { class: "devices" }, devices.map((device) => h("li", {}, device.name, h("button", { type: "button", "aria-label": `Send ${device.name} away`, onclick: () => doing(post("api/send-away", { number: device.number })) }, "Send away"))))
      : h("p", { class: "soft" }, "No phone yet."),
    h("p", { class: "small-print" }, "Photos go through your home network unencrypted: everybody in it could see them. Where you do not trust it, carry them over by cable. All phones are sent away when the desk closes."),
  ];
  document.body.append(dialog);
  dialog.showModal();
  while (!over) {
    try {
      draw(await get("api/phones"));
    } catch (error) {
      app.say(error.message);
    }
    await new Promise((next) => setTimeout(next, LOOK_AGAIN));
  }
}

const closed = () => [h("p", {}, "A phone can bring photos in, and look sheets over, without a cable. It is off until you ask for it: start the desk with ", h("code", {}, "cuptally desk --phone"), "."),
  h("p", { class: "soft" }, "Or carry the photos over by cable, and drop them here.")];

// The code as a drawing: dark modules as one path on white, whatever the page's colours.
function picture(rows) {
  const side = rows.length;
  const path = rows.flatMap((row, y) => [...row].map((module, x) => (module === "#" ? `M${x} ${y}h1v1h-1z` : ""))).join("");
  return s("svg", { class: "code", viewBox: `0 0 ${side} ${side}`, role: "img", "aria-label": "The address as a QR code", "shape-rendering": "crispEdges" },
    s("rect", { width: side, height: side, fill: "#fff" }), s("path", { d: path, fill: "#000" }));
}
