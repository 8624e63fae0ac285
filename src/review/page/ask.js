// Questions to the server on this computer. Nothing is asked of any other.

export class AskError extends Error {
  constructor(message, status) {
    super(message);
    this.stale = status === 409;
    this.gone = status === 0;
  }
}

const GONE = "cuptally is not running any more. Everything shown as kept is kept: " +
  "start it again to go on.";

async function ask(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch {
    throw new AskError(GONE, 0);
  }
  if (response.ok) return response.json();
  if (response.status === 413) throw new AskError("that is too large for the page; keep it as a file, and use the command line", 413);
  let message = `cuptally could not answer (${response.status}); load the page again`;
  try {
    message = (await response.json()).error;
  } catch { /* no sentence in the answer */ }
  throw new AskError(message, response.status);
}

export const get = (path) => ask(path, { cache: "no-store" });

export const post = (path, body) =>
  ask(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });

// A file, as it is.
export const send = (path, file) =>
  ask(path, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });

// One thing after the other: a key pressed while the last is still being written waits
// for its turn, and is decided on what the sheet is then.
let line = Promise.resolve();

export function inTurn(work) {
  const turn = line.then(work);
  line = turn.catch(() => {});
  return turn;
}
