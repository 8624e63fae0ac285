// How crops are laid out: colours on shelves, shelves on screens. No screen holds more than the window shows, so that one key
// never accepts what was not in view. Sizes in CSS px; what is drawn takes them from here too.

export const CAPTION = 20; // a form and size, above the first crop of it
export const GAP = 8; // between crops
export const APART = 24; // between colours beside each other
export const EDGE = 4; // a crop's frame, on both sides together
const LEAST = 62; // narrower is no word
const NAME = 120; // a colour's name
const NEAR = 96; // another that it could be
const UNTAUGHT = 200; // that nobody taught it, and the question what it is called

const drawn = (crop, scale) => crop.box_mm.map((mm) => Math.round(mm * scale));

// A crop with the room it takes: `chip` is the height of what stands below a doubtful one.
export function cell(crop, { scale, chip }, isOpen) {
  const [width, height] = drawn(crop, scale);
  return { crop, isOpen, width, height, room: Math.max(width + EDGE, LEAST), tall: CAPTION + height + EDGE + (isOpen ? chip : 0) };
}

// Rows of cells no wider than the window.
function wrapped(cells, width) {
  const lines = [];
  let line = null;
  for (const one of cells) {
    if (!line || line.width + GAP + one.room > width) {
      line = { cells: [], width: -GAP, tall: 0 };
      lines.push(line);
    }
    line.cells.push(one);
    line.width += GAP + one.room;
    line.tall = Math.max(line.tall, one.tall);
  }
  return lines;
}

const tallOf = (lines, head) => head + lines.reduce((sum, line) => sum + line.tall + GAP, 0);

// Colours one after the other, two or more beside each other where they fit; `head` is the height of a colour's name. A colour
// that is higher than the window goes on on the next shelf.
export function shelves(rows, { width, height, head }) {
  const all = [];
  let last = null;
  for (const { cells, ...row } of rows) {
    let lines = wrapped(cells, width);
    while (lines.length) {
      let fit = lines.length;
      while (fit > 1 && tallOf(lines.slice(0, fit), head) > height) fit -= 1;
      const part = lines.slice(0, fit);
      lines = lines.slice(fit);
      const block = { ...row, lines: part, width: Math.max(...part.map((line) => line.width)), tall: tallOf(part, head) };
      block.width = Math.min(width, Math.max(block.width, NAME + row.near.length * NEAR + (row.untaught ? UNTAUGHT : 0) + (row.isPlaces ? NEAR : 0)));
      if (last && part.length === 1 && last.width + APART + block.width <= width) {
        last.blocks.push(block);
        last.width += APART + block.width;
        last.tall = Math.max(last.tall, block.tall);
      } else {
        last = { blocks: [block], width: block.width, tall: block.tall };
        all.push(last);
      }
    }
  }
  return all;
}

// Screens as lists of pieces and places.
export function screens(rows, room) {
  const all = [];
  let left = -1;
  for (const shelf of shelves(rows, room)) {
    if (shelf.tall > left) {
      all.push([]);
      left = room.height;
    }
    left -= shelf.tall;
    for (const block of shelf.blocks) for (const line of block.lines) all.at(-1).push(...line.cells.map(({ crop }) => crop.id));
  }
  return all;
}
