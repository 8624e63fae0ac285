// Tables as text, RFC 4180.

export function parse(text) {
  const rows = [[]];
  let cell = "", quoted = false, i = text.charCodeAt(0) === 0xfeff ? 1 : 0;
  const end = () => { rows.at(-1).push(cell); cell = ""; };
  for (; i < text.length; i++) {
    const c = text[i];
    if (quoted) {
      if (c !== "\"") cell += c;
      else if (text[i + 1] === "\"") { cell += c; i++; }
      else quoted = false;
    } else if (c === "\"" && !cell) quoted = true;
    else if (c === ",") end();
    else if (c === "\n") { end(); rows.push([]); }
    else if (c !== "\r") cell += c;
  }
  end();
  return rows.filter((row) => row.some((value) => value.trim()));
}

const quote = (value) => (/[",\r\n]/.test(value) ? `"${value.replaceAll("\"", "\"\"")}"` : value);

export const text = (rows) => rows.map((row) => row.map(quote).join(",")).join("\r\n") + "\r\n";
