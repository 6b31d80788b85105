// SPDX-License-Identifier: MIT
// Reads the service's spreadsheets (RFC 4180): large tables come this way, in one
// answer instead of a hundred pages. Fields without quotes, which nearly all are, are
// cut out of the text as they stand.

// Rows as arrays of text, the header row first.
export function csvRows(text) {
  const rows = [];
  let row = [];
  let at = 0;
  while (at < text.length) {
    let field;
    if (text[at] === '"') {
      let end = at + 1;
      for (;;) {
        end = text.indexOf('"', end);
        if (end < 0) end = text.length;
        if (text[end + 1] !== '"') break;
        end += 2;
      }
      field = text.slice(at + 1, end).replaceAll('""', '"');
      at = end + 1;
    } else {
      let end = at;
      while (end < text.length && text[end] !== "," && text[end] !== "\r" && text[end] !== "\n") end++;
      field = text.slice(at, end);
      at = end;
    }
    row.push(field);
    if (text[at] === ",") {
      at++;
      if (at === text.length) row.push("");
      else if (text[at] !== "\r" && text[at] !== "\n") continue;
      else row.push("");
    }
    if (text[at] === "\r") at++;
    if (text[at] === "\n") at++;
    rows.push(row);
    row = [];
  }
  return rows;
}

// Records by the names of the header. kinds says which columns are numbers; an empty
// number is null, as in JSON.
export function csvRecords(text, numbers) {
  const [names, ...rows] = csvRows(text.charCodeAt(0) === 0xfeff ? text.slice(1) : text);
  if (names === undefined) return [];
  const isNumber = names.map((name) => numbers.includes(name));
  return rows.map((row) => {
    const record = {};
    for (let i = 0; i < names.length; i++) {
      const field = row[i] ?? "";
      record[names[i]] = isNumber[i] ? (field === "" ? null : Number(field)) : field;
    }
    return record;
  });
}
