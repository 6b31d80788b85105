// SPDX-License-Identifier: MIT
// The day's answer, its tables and its files.
import { get as fetchJson, getAll as fetchAll, here } from "../house/api.js";
import { byId, h } from "../house/dom.js";
import { measured, number as grouped, signed as plain, withSigma } from "../house/format.js";
import { attempt, begin, setTitle } from "../house/page.js";
import words from "../words/day.json";

const API = "/api/v1";
const PAGE = 500; // lines in one answer, at most
const SHOWN = 10; // lines of a table

const element = (name, text, className) => h(name, { class: className || null }, text);
const signed = (value, decimals) => (value === null ? "" : plain(value, decimals));

// columns: [heading, cell of a row (text or node), is it a number]. The first
// most rows are shown, and how many there are.
function fillTable(table, columns, allRows, most = Infinity) {
  const rows = allRows.slice(0, most);
  // The phone's layout takes the roles of a table away; here they stand for good.
  table.role = "table";
  const head = element("thead");
  const body = element("tbody");
  const top = element("tr");
  for (const [heading, , number] of columns) {
    const cell = element("th", heading, number ? "number" : "");
    cell.scope = "col";
    cell.role = "columnheader";
    top.append(cell);
  }
  head.append(top);
  for (const row of rows) {
    const line = element("tr");
    line.role = "row";
    for (const [heading, content, number] of columns) {
      const cell = element("td", undefined, number ? "number" : "");
      cell.role = "cell";
      cell.dataset.heading = heading;
      cell.append(content(row));
      line.append(cell);
    }
    body.append(line);
  }
  if (rows.length === 0) {
    const cell = element("td", "Nothing yet.");
    cell.colSpan = columns.length;
    const line = element("tr");
    line.append(cell);
    body.append(line);
  }
  table.replaceChildren(head, body);
  if (rows.length < allRows.length)
    table.prepend(element("caption", `The first ${rows.length} of ${allRows.length < PAGE ? allRows.length : "many"}.`));
}

function term(list, words, node) {
  const pair = element("div");
  const value = element("dd");
  value.append(node);
  pair.append(element("dt", words), value);
  list.append(pair);
}

// --- the parts of the page

const UNANSWERED = {
  too_few: "No answer yet: it takes two sites, one well to the north of the other, at the same noon.",
  unsure: "No answer: the angles of the day differ by less than their uncertainty.",
};

const plural = (count, one, many) => `${grouped(count, 0)} ${count === 1 ? one : many}`;

function showAnswer(day, result, pairsCount) {
  const figure = byId("circumference");
  const beside = byId("beside");
  const answered = result.status === "ok";
  figure.hidden = !answered;
  figure.replaceChildren();
  beside.replaceChildren();
  if (answered) figure.append(measured(result.circumference_km, result.sigma_km, "km"));
  const made = `${day.name === day.day ? "" : `${day.name}, `}${day.date}: ` +
    `${plural(result.sites, "site", "sites")}, ${plural(pairsCount, "pair", "pairs")}.`;
  byId("made-by").textContent =
    answered ? `${made} The ± is one standard uncertainty (σ).` : `${UNANSWERED[result.status] ?? ""} ${made}`;
  if (answered) {
    if (result.low_km !== null && result.high_km !== null)
      term(beside, "Two chances in three that it lies between",
        `${withSigma(result.low_km, result.sigma_km).value} and ${withSigma(result.high_km, result.sigma_km).value} km`);
    if (result.median_km !== null)
      term(beside, "Second opinion (median of all slopes)", measured(result.median_km,
        result.median_high_km === null || result.median_low_km === null ? result.sigma_km
          : (result.median_high_km - result.median_low_km) / 2, "km"));
    if (result.birge_ratio !== null)
      term(beside, "Scatter against stated σ (Birge ratio)", grouped(result.birge_ratio, 2));
    if (result.local_km !== null)
      term(beside, "A perfect day at these latitudes", `${grouped(result.local_km, 0)} km`);
  }
  term(beside, "Handbook: once around through the poles", `${grouped(result.handbook_km, 1)} km`);
}

function showLeaderboard(board, named) {
  const place = ["Place", (row) => String(row.place), true];
  const circumference = ["Circumference, km", (row) => measured(row.circumference_km, row.sigma_km, ""), true];
  const errors = [
    ["Error, %", (row) => signed(row.error_percent, 2), true],
    ["in σ", (row) => signed(row.error_sigmas, 1), true],
  ];
  fillTable(byId("pairs"),
    [place, ["Pair", (row) => `${named(row.site1)} – ${named(row.site2)}`], circumference, ...errors], board.pairs, SHOWN);
  fillTable(byId("sites"),
    [place, ["Site", (row) => named(row.site)], circumference, ...errors,
      ["Partners", (row) => String(row.partners), true]], board.sites, SHOWN);
  fillTable(byId("honesty"),
    [place, ["Site", (row) => named(row.site)],
      ["Stated σ, °", (row) => grouped(row.sigma_deg, 4), true],
      ["Error, °", (row) => signed(row.error_deg, 4), true],
      ["in σ", (row) => signed(row.error_sigmas, 1), true],
      ["Score", (row) => signed(row.score, 2), true]], board.honesty, SHOWN);
}

// Sites that count for nothing, and single readings that do not, with the reason.
function showLeftOut(runs, result, named) {
  const rows = [];
  for (const { site, residual_deg, residual_sigma } of result.left_out)
    rows.push({ who: named(site), what: "the site", why: "Its angle does not lie on the line of the others: "
      + `${signed(residual_deg, 3)}°, ${signed(residual_sigma, 1)} σ.` });
  for (const { reduction } of runs) {
    if (reduction.status !== "ok")
      rows.push({ who: named(reduction.site), what: "the site", why: reduction.reason ?? reduction.status });
    for (const reading of reduction.left_out)
      rows.push({ who: named(reduction.site), what: `reading of ${reading.utc.slice(11, 19)} UTC`, why: reading.advice });
  }
  byId("left-out-words").textContent = rows.length === 0
    ? "Every site and every reading of the day counts."
    : "Nothing is dropped in silence: what does not count, and what to check.";
  byId("left-out").hidden = rows.length === 0;
  fillTable(byId("left-out"),
    [["Site", (row) => row.who], ["Left out", (row) => row.what], ["Why", (row) => row.why]], rows);
}

const FILES = [
  ["sites.csv", "Sites (CSV)"],
  ["readings.csv", "Readings (CSV)"],
  ["reductions.csv", "Noon angles (CSV)"],
  ["pairs.csv", "Pairs (CSV)"],
  ["sites.geojson", "Map points (GeoJSON)"],
  ["result", "Result (JSON)"],
];

function showFiles(base) {
  byId("files").replaceChildren(...FILES.map(([file, words]) => {
    const item = element("li");
    const link = element("a", words);
    link.href = `${API}${base}/${file}`;
    item.append(link);
    return item;
  }));
}

async function showDay(day) {
  const base = `/days/${encodeURIComponent(day.day)}`;
  const [result, board, pairs, sites, runs] = await Promise.all([
    fetchJson(`${base}/result`),
    fetchJson(`${base}/leaderboard?limit=${PAGE}`),
    fetchAll(`${base}/pairs`, "pairs"),
    fetchAll(`${base}/sites`, "sites"),
    fetchAll(`${base}/runs`, "runs"),
  ]);
  const names = new Map(sites.map((site) => [site.site, site.name]));
  const named = (site) => names.get(site) ?? site;
  showAnswer(day, result, pairs.filter((pair) => pair.status === "ok").length);
  showLeaderboard(board, named);
  showLeftOut(runs, result, named);
  showFiles(base);
}

begin(words, () => attempt(async () => {
  const day = await fetchJson(`/days/${encodeURIComponent(here("/days/{day}").day)}`);
  setTitle(day.name);
  await showDay(day);
  byId("figures").hidden = false;
}));
