// SPDX-License-Identifier: MIT
// Reads spreadsheets (RFC 4180): the service's large tables come this way, in one answer
// instead of a hundred pages. Fields without quotes, which nearly all are, are cut out of
// the text as they stand.

// Tells every field, took(field, column), and the end of every row, ended(fields).
function cut(text, took, ended) {
  let column = 0;
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
    took(field, column++);
    if (text[at] === ",") {
      at++;
      if (at < text.length && text[at] !== "\r" && text[at] !== "\n") continue;
      took("", column++);
    }
    if (text[at] === "\r") at++;
    if (text[at] === "\n") at++;
    ended(column);
    column = 0;
  }
}

// Rows as arrays of text, the header row first.
export function csvRows(text) {
  const rows = [];
  let row = [];
  cut(text, (field) => row.push(field), () => {
    rows.push(row);
    row = [];
  });
  return rows;
}

// A column of numbers (an empty field is NaN), or of words: each different one once in
// values, and which one a row has in at.
function numberColumn() {
  const found = [];
  return { add: (field) => found.push(field === "" ? NaN : Number(field)), done: () => Float64Array.from(found) };
}
function wordColumn() {
  const places = new Map();
  const at = [];
  return {
    add(field) {
      if (!places.has(field)) places.set(field, places.size);
      at.push(places.get(field));
    },
    done: () => ({ values: [...places.keys()], at: Uint32Array.from(at) }),
  };
}

// {rows: how many, columns: by the names of the header}. numbers: which columns are.
export function csvColumns(text, numbers) {
  const names = [];
  let columns = null;
  let rows = 0;
  cut(text.charCodeAt(0) === 0xfeff ? text.slice(1) : text, (field, column) => {
    if (columns === null) names.push(field);
    else columns[column]?.add(field);
  }, (fields) => {
    if (columns === null) columns = names.map((name) => (numbers.includes(name) ? numberColumn() : wordColumn()));
    else {
      for (const column of columns.slice(fields)) column.add("");
      rows++;
    }
  });
  return { rows, columns: Object.fromEntries(names.map((name, i) => [name, columns[i].done()])) };
}

// The rows of such columns as records of the fields named; an empty number is null, as in
// JSON.
export function recordsOf({ rows, columns }, names) {
  const records = Array.from({ length: rows }, () => ({}));
  for (const name of names) {
    const column = columns[name];
    if (column instanceof Float64Array) records.forEach((record, row) => { record[name] = Number.isNaN(column[row]) ? null : column[row]; });
    else records.forEach((record, row) => { record[name] = column.values[column.at[row]]; });
  }
  return records;
}
