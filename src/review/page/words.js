// How the page says things.

export const size = (text) => text.replace("x", "×");
export const piece = (p) => `${p.form === "any" ? "brick, plate or tile?" : p.form} ${size(p.size)}`;
export const kind = (p) => `${p.colour} ${p.form} ${size(p.size)}`;
// How large something that no piece explains is, and of what colour; an old sheet has the area alone.
export const extent = ({ sides_mm: sides, area_mm2: area }) => (sides ? `${sides[0]} × ${sides[1]} mm` : `${Math.round(area)} mm²`);
export const thing = (spot) => [extent(spot), spot.colour].filter(Boolean).join(", ");
export const plural = (n, one, many) => `${n} ${n === 1 ? one : many}`;

// Kinds that nothing was counted as, and some piece may be, are in no number.
export const isCounted = (group) => group.count > 0;
export const groups = (sheet) => plural(sheet.groups.filter(isCounted).length, "group", "groups");

// Rounded down, so that nothing looks surer than it is.
export const percent = (p) => `${Math.floor(p * 100)} %`;

export const range = (g) => (g.low === g.high ? "" : `${g.low}–${g.high}`);

// What a person did so far: looking and finding it right is no correction.
export function done({ confirmed, together, corrections, settled, taken }) {
  const parts = [
    confirmed && `${plural(confirmed, "piece confirmed", "pieces confirmed")}${together ? ` (${together} side by side)` : ""}`,
    taken && plural(taken, "piece taken as counted", "pieces taken as counted"),
    settled && plural(settled, "place with nothing to count", "places with nothing to count"),
    corrections ? plural(corrections, "correction", "corrections") : (confirmed || settled || taken) && "nothing corrected",
  ].filter(Boolean);
  return parts.length ? parts.join(", ") : "as counted";
}

const DONE = {
  accept: "accepting", change: "the change", remove: "removing", add: "adding",
  split: "the split", join: "the join", recolour: "the colour's name", count: "the number",
  settle: "the empty place", place: "the place", "only-taught": "the word on the taught colours",
};
export const step = (what) => DONE[what] ?? what;

const FACES = { up: "studs up", down: "upside down", side: "on its side", end: "on its end" };
export const face = (name) => FACES[name] ?? name;
