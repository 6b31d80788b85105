// SPDX-License-Identifier: MIT
// Everything the day's page shows, from the public API: the large tables as
// spreadsheets, in one answer each, asked for when something first needs them. What has
// not changed since it was last asked for is the same object again.
import { get, getKept, path } from "../house/api.js";
import { recordsOf } from "../charts/csv.js";
import { sheetOf } from "../charts/sheet.js";

export const BOARD_MOST = 500;

const sheet = (address, numbers) =>
  getKept(address, async (answer) => sheetOf(await answer.arrayBuffer(), numbers), { Accept: "text/csv" });

// The answer alone; the rest, which may be large, is asked for afterwards.
export async function loadAnswer(day) {
  const base = path`/days/${day}`;
  const [record, result, { editions }] = await Promise.all([get(base), getKept(`${base}/result`),
    get(`/editions?${new URLSearchParams({ subject: `days/${day}`, limit: "1" })}`)]);
  return { record, result, editions };
}

// Asked at most once, and again when it failed.
function once(ask) {
  let asked = null;
  return () => {
    asked ??= ask().catch((failure) => {
      asked = null;
      throw failure;
    });
    return asked;
  };
}

// The same again as long as what it is made of is the same.
function remember(make) {
  let from = [];
  let made = null;
  return (...now) => {
    if (made === null || now.some((value, i) => value !== from[i])) made = make(...now);
    from = now;
    return made;
  };
}
const siteFigures = remember(arrangeSites);
const pairFigures = remember(arrangePairs);

// One look at a day: sites(), pairs() and board() are asked for once each.
export function look(day, { result }) {
  const base = path`/days/${day}`;
  const sites = once(async () => siteFigures(day, result, ...await Promise.all([
    sheet(`${base}/sites.csv`, ["lat_deg", "lon_deg", "elev_m", "gnomon_mm"]),
    sheet(`${base}/reductions.csv`, ["noon_angle_deg", "sigma_deg", "used", "left_out"]),
    sheet(`${base}/line.csv`, ["noon", "meridian_km", "noon_angle_deg", "sigma_deg", "residual_deg"]),
    sheet(`${base}/sky.csv`, ["readings"]),
  ])));
  return {
    sites,
    pairs: once(async () => pairFigures(await sites(),
      await sheet(`${base}/pairs.csv`, ["separation_km", "angle_deg", "circumference_km", "sigma_km", "error_percent"]))),
    board: once(() => getKept(`${base}/leaderboard?limit=${BOARD_MOST}`)),
  };
}

// What became of a site: measured (on the line), off_line, no_angle (readings came, but
// no angle), excluded (by an organiser, with a reason), clouded (no readings, and the sky board says why), nothing (no readings yet).
const CLOUDED = ["overcast", "gone_home"];
function stateOf(reduction, point, sky, excluded) {
  if (excluded) return "excluded";
  if (reduction === undefined) return CLOUDED.includes(sky) ? "clouded" : "nothing";
  if (reduction.noon_angle_deg === null) return "no_angle";
  return point !== undefined && point.left_out !== "" ? "off_line" : "measured";
}

// {day, result, sites: with what became of each, points: of the line, counts, named(site),
// indexOf(site)}.
function arrangeSites(day, result, sitesSheet, reductionsSheet, lineSheet, skySheet) {
  const sites = recordsOf(sitesSheet, ["site", "name", "lat_deg", "lon_deg"]);
  const reductions = recordsOf(reductionsSheet, ["site", "noon_angle_deg", "sigma_deg", "used", "left_out"]);
  const points = recordsOf(lineSheet, ["site", "noon", "meridian_km", "noon_angle_deg", "sigma_deg", "residual_deg", "left_out"]);
  const skies = recordsOf(skySheet, ["site", "sky"]);
  const bySite = (rows) => new Map(rows.map((row) => [row.site, row]));
  const [reductionOf, pointOf, skyOf] = [reductions, points, skies].map(bySite);
  const excluded = new Set(result.excluded.map(({ site }) => site));
  const at = new Map(sites.map(({ site }, i) => [site, i]));
  sites.forEach((site, i) => {
    const reduction = reductionOf.get(site.site);
    const state = stateOf(reduction, pointOf.get(site.site), skyOf.get(site.site)?.sky, excluded.has(site.site));
    Object.assign(site, { at: i, reduction, state, shadow: Math.tan(((reduction?.noon_angle_deg ?? NaN) * Math.PI) / 180) });
  });
  const sum = (what) => reductions.reduce((total, reduction) => total + reduction[what], 0);
  return {
    day, result, sites, points,
    indexOf: (site) => at.get(site) ?? -1,
    named: (site) => sites[at.get(site)]?.name || site,
    counts: { sites: sites.length, runs: reductions.length, readings: sum("used") + sum("left_out"), left_out: sum("left_out") },
  };
}

// What became of a pair, by how far it lies from the handbook in units of its sigma.
export const PAIR_STATES = ["no_count", "within_1", "within_2", "beyond_2"];

// {count: of those that count, a, b: indices of sites, state: of PAIR_STATES,
// separation_km, circumference_km, an array each; partners: how many of each site count}.
// There may be fifty thousand, so none of them is an object.
function arrangePairs({ result, sites, indexOf }, { rows, columns }) {
  const side = ({ values, at }) => {
    const index = Int32Array.from(values, indexOf);
    return Int32Array.from(at, (value) => index[value]);
  };
  const [a, b] = [side(columns.site1), side(columns.site2)];
  const { separation_km, circumference_km, sigma_km, status } = columns;
  const ok = status.values.indexOf("ok");
  const partners = new Uint16Array(sites.length);
  const state = new Uint8Array(rows);
  let count = 0;
  for (let i = 0; i < rows; i++) {
    if (status.at[i] !== ok) continue;
    count++;
    if (a[i] >= 0) partners[a[i]]++;
    if (b[i] >= 0) partners[b[i]]++;
    const sigmas = Math.abs(circumference_km[i] - result.handbook_km) / sigma_km[i];
    state[i] = PAIR_STATES.indexOf(sigmas <= 1 ? "within_1" : sigmas <= 2 ? "within_2" : "beyond_2");
  }
  return { count, a, b, state, separation_km, circumference_km, partners };
}
