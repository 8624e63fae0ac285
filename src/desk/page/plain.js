// What commands say, in the words of the page: where they name an option, it names the field.

const WORDS = [
  [/; write each kind in quotes, such as "[^"]*"/, "; say it as number, form, size and colour, such as 8 plate 2x4 and a colour"],
  [/;? ?(?:for a new colour )?say --new\b/, "; for a new colour tick ‘One of the colours is new’"],
  [/say --merge if the two are one/, "tick ‘Merge them’ if the two are one"],
  [/`cuptally stock --by place` lists them/, "the stock by place lists them"],
  [/`cuptally teach` gives them yours/, "teach your colours, and they get your names"],
  [/put them right with `[^`]*review`, or take them as counted, doubt and all, with `[^`]*`/, "look them over, or take them as counted in the stock"],
  [/`cuptally(?: --home(?:=| )\S+)? ([a-z]+)[^`]*`/g, "the command $1"],
];

export const plain = (text) => WORDS.reduce((told, [from, to]) => told.replace(from, to), text);
