// The desk: which room is open, how things stand, and photos on their way in.

import { AskError, get, post, send } from "./ask.js";
import { byId, h } from "./dom.js";
import * as begin from "./begin.js";
import * as photos from "./photos.js";
import * as stock from "./stock.js";
import * as plans from "./plans.js";
import * as colours from "./colours.js";
import { phones } from "./phones.js";
import { plain } from "./plain.js";

const ROOMS = { begin, photos, stock, plans, colours };
// How often to look how things stand: while something is being counted, and else; ms.
const SOON = 500, LATER = 2000;
// How long a word that is no fault stays, ms.
const SAID_FOR = 6000;

const app = {
  version: "none", state: null, sending: 0, samples: false, room: null, over: false,
  // The colours as they were taught, by name, read anew when the names change.
  labs: new Map(),

  say(text, isWrong = true) {
    const message = byId("message");
    message.textContent = text;
    message.hidden = !text;
    message.classList.toggle("wrong", isWrong);
    clearTimeout(app.saying);
    // What went wrong stays until it is mended or left.
    if (text && !isWrong) app.saying = setTimeout(() => app.say(""), SAID_FOR);
  },
  kept(text) {
    byId("kept").textContent = text;
  },

  // Has a command done; gives what it printed.
  async ask(what) {
    let answer;
    try {
      answer = await post("api/ask", what);
    } catch (error) {
      error.message = plain(error.message);
      throw error;
    }
    const { out, said } = answer;
    let value = null;
    try { value = JSON.parse(out); } catch { /* some commands print a sentence */ }
    return { value, text: out.trim(), said };
  },
  // The same for what changes something: it is shown once it is kept.
  async change(what) {
    const answer = await app.ask(what);
    app.kept(`Kept ${new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" })}`);
    await app.look();
    // What a command says beside what it did: a size that is odd, pieces that may be there twice.
    if (answer.said.length) app.say(plain(answer.said.join("\n")), false);
    return answer;
  },

  // Looks how things stand, and draws anew what has changed.
  async look() {
    const { version, state, samples, phone } = await get(`api/state/${app.version}`);
    if (!state) return false;
    // A phone neither closes the desk nor lets others in.
    for (const id of ["end", "phones"]) byId(id).hidden = phone;
    const before = app.state;
    const taught = (of) => JSON.stringify([of?.colours, of?.lights]);
    if (taught(state) !== taught(before)) await app.readColours(state);
    Object.assign(app, { version, state, samples });
    const faults = byId("faults");
    faults.hidden = !state.faults.length;
    faults.textContent = state.faults.map(plain).join("\n");
    const open = state.sheets.filter((sheet) => !sheet.checked).length;
    byId("photos-badge").hidden = !open;
    byId("photos-badge").textContent = open;
    byId("photos-badge").title = `${open} to look at`;
    app.draw(before);
    return true;
  },
  async readColours(state = app.state) {
    app.taught = state.colours.length ? (await app.ask({ do: "colours" })).value ?? [] : [];
    app.labs = new Map(app.taught.map((colour) => [colour.name, colour.lab]));
  },
  draw(before) {
    ROOMS[app.room]?.draw(app, before);
  },
  go(room) {
    location.hash = room;
  },

  // Sends photos, two at a time, in their order; gives the names that they got.
  async sendPhotos(files, each = () => {}) {
    const list = [...files];
    const given = await post("api/announce", { names: list.map((file) => file.name) });
    await app.look();
    let at = 0;
    app.sending += list.length;
    const sender = async () => {
      while (at < list.length) {
        const k = at++;
        try {
          await send(`photo-in/${encodeURIComponent(given[k])}`, list[k]);
          await each(given[k]);
        } catch (error) {
          await post("api/remove", { photo: given[k] }).catch(() => {});
          app.say(`${list[k].name}: ${error.message}`);
          given[k] = null;
        } finally {
          app.sending -= 1;
        }
        await app.look();
      }
    };
    await Promise.all([sender(), sender()]);
    return given.filter(Boolean);
  },

  // Opens the review at a sheet, or at the first that is open.
  async review(sheet) {
    if (app.sending) return app.say("Photos are still coming in; wait for them, or they would be lost.", false);
    try {
      const { number } = await post("api/review", sheet ? { sheet } : {});
      location.href = `review/#${number}`;
    } catch (error) {
      app.say(error.message);
    }
  },
};

function open() {
  const wanted = location.hash.slice(1);
  const usual = app.state.sheets.length || app.state.photos.length ? "photos" : "begin";
  app.room = ROOMS[wanted] ? wanted : usual;
  for (const link of byId("rooms").querySelectorAll("a")) {
    if (link.dataset.room === app.room) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  byId("paper").hidden = true;
  app.say("");
  const room = byId("room");
  room.inert = false;
  document.querySelector(".bar").inert = false;
  room.replaceChildren();
  room.scrollTop = 0;
  document.title = `${app.room[0].toUpperCase()}${app.room.slice(1)} · cuptally desk`;
  ROOMS[app.room].open(app, room);
  app.draw(null);
  document.body.dataset.room = app.room;
}

async function watch() {
  let wait = LATER;
  if (!document.hidden && !app.over) {
    try {
      await app.look();
      const busy = app.state.photos.some(({ count }) => app.sending || ["waiting", "counting"].includes(count?.is));
      if (busy) wait = SOON;
      if (byId("message").dataset.gone) { app.say(""); delete byId("message").dataset.gone; }
    } catch (error) {
      if (error.gone) byId("message").dataset.gone = "yes";
      app.say(error.message);
    }
  }
  if (!app.over) setTimeout(watch, wait);
}

byId("phones").addEventListener("click", () => phones(app));
byId("end").addEventListener("click", async () => {
  const busy = app.state?.photos.some(({ count }) => ["waiting", "counting"].includes(count?.is));
  if (busy && !confirm("Photos are still being counted. Close all the same? They can be counted again.")) return;
  await post("api/end", {}).catch(() => {});
  app.over = true;
  document.body.replaceChildren(h("main", { class: "over" },
    h("h1", {}, "The desk is closed"), h("p", {}, "Everything is kept. You can close this window.")));
});
window.addEventListener("beforeunload", (event) => { if (app.sending && !app.over) event.preventDefault(); });
window.addEventListener("hashchange", () => app.state && open());

try {
  await app.look();
  open();
  document.body.dataset.ready = "yes";
} catch (error) {
  app.say(error.message);
}
watch();
