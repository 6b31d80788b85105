// SPDX-License-Identifier: MIT
// Tables: the ones that are read, and the ones that stand beside every chart for whoever
// reads numbers better than pictures, made only when they are opened.
import { fill, h } from "../house/dom.js";
import { number } from "../house/format.js";
import { word } from "../house/words.js";

const STEP = 50; // rows at a time

// columns: [heading, cell of a row (text or node), is it a number].
function head(columns) {
  return h("thead", {}, h("tr", { role: "row" }, columns.map(([heading, , isNumber]) =>
    h("th", { scope: "col", role: "columnheader", class: isNumber ? "number" : null }, heading))));
}

const line = (columns, row) => h("tr", { role: "row" }, columns.map(([heading, content, isNumber]) =>
  h("td", { role: "cell", class: isNumber ? "number" : null, dataset: { heading } }, content(row))));

// A table that shows its first rows and more on demand. label: what it is.
export function table(label, columns, rows, step = STEP) {
  // The phone's layout takes the roles of a table away; here they stand for good.
  const body = h("tbody", { role: "rowgroup" });
  const below = h("p", { class: "more" });
  const sheet = h("div", { class: "sheet", tabindex: "0", role: "region", "aria-label": word("table.of", { what: label }) },
    h("table", { role: "table", "aria-label": label }, head(columns), body));
  let shown = 0;
  const more = () => {
    const next = rows.slice(shown, shown + step);
    body.append(...next.map((row) => line(columns, row)));
    shown += next.length;
    fill(below, shown < rows.length && [
      `${word("table.shown", { shown: number(shown), all: number(rows.length) })} `,
      h("button", { type: "button", class: "small", on: { click: more } }, word("table.more")),
    ]);
  };
  if (rows.length === 0) body.append(h("tr", { role: "row" }, h("td", { role: "cell", colspan: columns.length }, word("table.empty"))));
  more();
  return h("div", {}, sheet, below);
}

// The table beside a chart, closed until someone wants it. rows(): made when opened.
export function tableBeside(label, columns, rows) {
  const place = h("div");
  return h("details", {
    class: "beside-chart",
    on: { toggle: (event) => event.target.open && fill(place, table(label, columns, rows())) },
  }, h("summary", {}, word("table.open")), place);
}
