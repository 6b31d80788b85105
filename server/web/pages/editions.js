// SPDX-License-Identifier: MIT
// All published editions, newest first.
import { table } from "../charts/table.js";
import { getAll, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { measured, number, shortDate } from "../house/format.js";
import { attempt, begin } from "../house/page.js";
import { word } from "../house/words.js";
import tableWords from "../words/table.json";
import words from "../words/edition.json";

begin({ ...tableWords, ...words }, () => attempt(async () => {
  const editions = await getAll("/editions", "editions");
  fill(byId("editions"), editions.length === 0 ? h("p", {}, word("edition.none")) : table(word("edition.list_title"), [
    [word("edition.number"), (row) => number(row.edition), true],
    [word("edition.name"), (row) => h("a", { href: path`/editions/${row.edition}` }, row.title)],
    [word("edition.published"), (row) => shortDate(row.published_utc.slice(0, 10))],
    [word("edition.circumference_km"), (row) => measured(row.circumference_km, row.sigma_km), true],
    [word("edition.sites"), (row) => number(row.sites), true],
    [word("edition.standing"), (row) => (row.replaced_by === null ? word("edition.current") : h("a", { href: path`/editions/${row.replaced_by}` }, word("edition.replaced", { number: number(row.replaced_by) })))],
  ], editions, 50));
  return editions;
}));
