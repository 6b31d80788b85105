// SPDX-License-Identifier: MIT
// The leaderboards: nearest pairs, nearest sites, most honest sites; filtered by name,
// by how far apart and by how sure. Places are the service's own and stay what they are
// when a filter hides others.
import { table } from "../charts/table.js";
import { whisker, whiskerScale } from "../charts/whisker.js";
import { byId, fill, h } from "../house/dom.js";
import { measured, number, parseNumber, signed } from "../house/format.js";
import { path } from "../house/api.js";
import { word, wordOf } from "../house/words.js";
import { BOARD_MOST } from "./load.js";

const SHOWN = 10;
let day = null;
let board = null;
let separations = null; // km, by the row of the board
const chosen = { table: "pairs", name: "", apart: "", sigma: "" };

const siteLink = (site) => h("a", { href: path`/days/${day.day}/sites/${site}/run` }, day.named(site));
const pairLink = (row) => h("a", { href: path`/days/${day.day}/pairs/${row.site1}/${row.site2}` }, `${day.named(row.site1)} – ${day.named(row.site2)}`);
const place = () => [word("nation.place"), (row) => number(row.place), true];
const error = () => [
  [word("nation.error_percent"), (row) => signed(row.error_percent, 2), true],
  [word("nation.error_sigmas"), (row) => (row.error_sigmas === null ? "–" : signed(row.error_sigmas, 1)), true],
];
const circumference = () => [word("nation.circumference_km"), (row) => measured(row.circumference_km, row.sigma_km), true];

function columnsOf(kind, rows) {
  if (kind === "honesty")
    return [place(), [word("nation.school"), (row) => siteLink(row.site)],
      [word("nation.stated_sigma"), (row) => number(row.sigma_deg, 3), true],
      [word("nation.error_deg"), (row) => signed(row.error_deg, 3), true],
      [word("nation.error_sigmas"), (row) => signed(row.error_sigmas, 1), true],
      [word("nation.score"), (row) => signed(row.score, 2), true]];
  const scale = whiskerScale(rows, day.result.handbook_km);
  const bar = [word("nation.against_handbook"), (row) => whisker(row, scale)];
  if (kind === "sites")
    return [place(), [word("nation.school"), (row) => siteLink(row.site)], circumference(), bar, ...error(),
      [word("nation.pairs_count"), (row) => number(row.partners), true]];
  return [place(), [word("nation.pair"), pairLink], [word("nation.apart_km"), (row) => number(separations.get(row) ?? NaN), true],
    circumference(), bar, ...error()];
}

function passes(row) {
  const wanted = chosen.name.trim().toLocaleLowerCase();
  const names = chosen.table === "pairs" ? [row.site1, row.site2] : [row.site];
  const apart = parseNumber(chosen.apart);
  const sigma = parseNumber(chosen.sigma);
  return (wanted === "" || names.some((site) => site.includes(wanted) || day.named(site).toLocaleLowerCase().includes(wanted)))
    && (chosen.table !== "pairs" || apart === null || separations.get(row) >= apart)
    && (chosen.table === "honesty" || sigma === null || (row.sigma_km !== null && row.sigma_km <= sigma));
}

function showRows() {
  const all = board[chosen.table];
  const rows = all.filter(passes);
  byId("leaders-words").textContent = wordOf("nation.board_", chosen.table);
  fill(byId("leaders-count"), rows.length < all.length ? word("nation.filtered", { shown: number(rows.length), all: number(all.length) })
    : all.length === BOARD_MOST ? word("nation.board_most", { count: number(BOARD_MOST) }) : "");
  fill(byId("leaders-table"), table(wordOf("nation.board_title_", chosen.table), columnsOf(chosen.table, rows), rows, SHOWN));
}

function field(name, label) {
  return h("label", {}, label, h("input", {
    name, type: "text", inputmode: name === "name" ? null : "decimal", autocomplete: "off", value: chosen[name],
    on: { input: (event) => { chosen[name] = event.target.value; showRows(); } },
  }));
}

function makeControls() {
  const apart = field("apart", word("nation.filter_apart"));
  const sigma = field("sigma", word("nation.filter_sigma"));
  const choose = (kind) => {
    chosen.table = kind;
    apart.hidden = kind !== "pairs";
    sigma.hidden = kind === "honesty";
    showRows();
  };
  fill(byId("leaders-controls"),
    h("fieldset", { class: "choice-row" }, h("legend", {}, word("nation.board_which")),
      ["pairs", "sites", "honesty"].map((kind) => h("label", { class: "choice" },
        h("input", { type: "radio", name: "board", value: kind, checked: kind === chosen.table, on: { change: () => choose(kind) } }),
        wordOf("nation.board_title_", kind)))),
    h("div", { class: "filters" }, field("name", word("nation.filter_name")), apart, sigma));
}

// The board's pairs among all of them.
function separationsOf({ pairs }, { a, b, separation_km }) {
  const name = (one, two) => (one < two ? `${one}/${two}` : `${two}/${one}`);
  const rows = new Map(pairs.map((row) => [name(day.indexOf(row.site1), day.indexOf(row.site2)), row]));
  const ends = new Set(pairs.map((row) => day.indexOf(row.site1)));
  const found = new Map();
  for (let i = 0; i < a.length; i++) {
    if (!ends.has(a[i]) && !ends.has(b[i])) continue;
    const row = rows.get(name(a[i], b[i]));
    if (row !== undefined) found.set(row, separation_km[i]);
  }
  return found;
}

export function showLeaders(sites, pairs, tables) {
  const first = day === null;
  day = sites;
  board = tables;
  separations = separationsOf(board, pairs);
  if (first) makeControls();
  showRows();
}
