// SPDX-License-Identifier: MIT
// What a class found at its noon: picture, board, budget, and its pairs.
import { table } from "../charts/table.js";
import { whisker, whiskerScale } from "../charts/whisker.js";
import { get, here, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { clockTime, longDate, measured, number, signed } from "../house/format.js";
import { attemptPage, begin, reveal, setTitle } from "../house/page.js";
import { word, wordOf } from "../house/words.js";
import { showBoard } from "../run/board.js";
import { showBudget, showWays } from "../run/budget.js";
import { loadRun, workOut } from "../run/load.js";
import { showReviews } from "../run/reviews.js";
import flagWords from "../words/flag.json";
import pairWords from "../words/pair.json";
import reviewWords from "../words/review.json";
import slipWords from "../words/slip.json";
import tableWords from "../words/table.json";
import words from "../words/run.json";

const { day, site } = here("/days/{day}/sites/{site}/run");

function showFigure({ place, record, run, reduction }) {
  setTitle(place.name);
  fill(byId("run-title"), place.name);
  const address = path`/days/${day}`;
  byId("to-day").href = address;
  fill(byId("to-day"), word("run.back", { day: record.name === record.day ? longDate(record.date) : record.name }));
  const ok = reduction.status === "ok";
  fill(byId("figure"), ok ? measured(Math.abs(reduction.noon_angle_deg), reduction.sigma_deg, "°") : word("run.no_angle"));
  fill(byId("figure-words"), ok
    ? [reduction.sun_side === "N" ? word("run.sun_north") : word("run.sun_south"), " ",
      word("run.made_of", { used: number(reduction.used), all: number(run.readings.length), time: clockTime(Date.parse(reduction.transit_utc), place.zone ?? undefined) })]
    : [wordOf("reduction.", reduction.status, reduction.reason), " ", reduction.run_slip !== null && wordOf("slip.", reduction.run_slip, reduction.advice)]);
  byId("measured-parts").hidden = !ok;
}

// The other's name is asked for once a row is shown; most schools have few partners.
async function showPairs({ pairs, place, handbook_km }) {
  fill(byId("pairs-words"), pairs.length === 0 ? word("run.no_pairs") : word("run.pairs_words"));
  if (pairs.length === 0) return;
  const other = (pair) => (pair.site1 === place.site ? pair.site2 : pair.site1);
  const named = new Map();
  await Promise.all(pairs.slice(0, 20).map(async (pair) => named.set(other(pair), (await get(path`/sites/${other(pair)}`)).name)));
  const scale = whiskerScale(pairs.filter((pair) => pair.circumference_km !== null), handbook_km);
  fill(byId("pairs"), table(word("run.pairs_title"), [
    [word("run.partner"), (pair) => h("a", { href: path`/days/${day}/pairs/${site}/${other(pair)}` }, named.get(other(pair)) ?? other(pair))],
    [word("run.apart_km"), (pair) => number(pair.separation_km), true],
    [word("run.circumference_km"), (pair) => measured(pair.circumference_km, pair.sigma_km), true],
    [word("run.against_handbook"), (pair) => (pair.circumference_km === null ? "–" : whisker(pair, scale))],
    [word("run.error_percent"), (pair) => (pair.error_percent === null ? "–" : signed(pair.error_percent, 2)), true],
    [word("run.counts"), (pair) => wordOf("pair.short_", pair.status)],
  ], pairs, 20));
}

function showHome({ run }) {
  const item = (href, says, download) => h("li", {}, h("a", { href, download }, says));
  fill(byId("home"),
    item(path`/days/${day}/certificates/${site}`, word("run.certificate")),
    item(`/api/v1${path`/runs/${run.id}`}`, word("run.file_run"), `${day}-${site}-run.json`),
    item(`/api/v1${path`/days/${day}`}/readings.csv`, word("run.file_readings"), `${day}-readings.csv`));
}

async function show() {
  const loaded = await loadRun(day, site);
  showFigure(loaded);
  showHome(loaded);
  reveal("run-page");
  await showReviews(loaded.run);
  if (loaded.reduction.status !== "ok") return loaded;
  await workOut(loaded);
  showBoard(byId("board"), loaded);
  showBudget(byId("budget"), loaded);
  showWays(byId("ways"), loaded);
  await showPairs(loaded);
  const { showPicture } = await import("../run/picture.js");
  showPicture(loaded);
  return loaded;
}

// No run is no failure: it says so, and leads back to the day.
async function showOrSayNone() {
  try {
    return await show();
  } catch (failure) {
    if (failure.status !== 404 || failure.field !== "site") throw failure;
    const place = await get(path`/sites/${site}`);
    setTitle(place.name);
    fill(byId("no-run-title"), place.name);
    byId("no-run-plan").href = path`/days/${day}/sites/${site}`;
    byId("no-run-day").href = path`/days/${day}`;
    fill(byId("no-run-day"), word("run.to_day"));
    reveal("no-run");
    return place;
  }
}

begin({ ...tableWords, ...flagWords, ...slipWords, ...pairWords, ...reviewWords, ...words }, () => attemptPage(showOrSayNone, [[path`/days/${day}`, word("house.to_day")]]));
