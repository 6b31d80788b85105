// SPDX-License-Identifier: MIT
// Everything the day's page shows, from the public API: the large tables as
// spreadsheets, in one answer each. The browser keeps them with their ETag and asks only
// whether they have changed.
import { get, getText, path } from "../house/api.js";
import { csvRecords } from "../charts/csv.js";

export const BOARD_MOST = 500;

async function sheet(address, numbers) {
  return csvRecords(await getText(address), numbers);
}

// The answer alone; the rest, which may be large, is asked for afterwards.
export async function loadAnswer(day) {
  const base = path`/days/${day}`;
  const [record, result, { editions }] = await Promise.all([get(base), get(`${base}/result`),
    get(`/editions?${new URLSearchParams({ subject: `days/${day}`, limit: "1" })}`)]);
  return { record, result, editions };
}

export async function loadDay(day, { record, result }) {
  const base = path`/days/${day}`;
  const [board, sites, reductions, points, pairs, sky] = await Promise.all([
    get(`${base}/leaderboard?limit=${BOARD_MOST}`),
    sheet(`${base}/sites.csv`, ["lat_deg", "lon_deg", "elev_m", "gnomon_mm"]),
    sheet(`${base}/reductions.csv`, ["noon_angle_deg", "sigma_deg", "used", "left_out"]),
    sheet(`${base}/line.csv`, ["noon", "meridian_km", "noon_angle_deg", "sigma_deg", "residual_deg"]),
    sheet(`${base}/pairs.csv`, ["separation_km", "angle_deg", "circumference_km", "sigma_km", "error_percent"]),
    sheet(`${base}/sky.csv`, ["readings"]),
  ]);
  return arrange({ record, result, board, sites, reductions, points, pairs, sky });
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

// What became of a pair, by how far it lies from the handbook in units of its sigma.
function pairStateOf(pair, handbook) {
  if (pair.status !== "ok") return "no_count";
  const sigmas = Math.abs(pair.circumference_km - handbook) / pair.sigma_km;
  return sigmas <= 1 ? "within_1" : sigmas <= 2 ? "within_2" : "beyond_2";
}

function arrange(day) {
  const reductionOf = new Map(day.reductions.map((reduction) => [reduction.site, reduction]));
  const pointOf = new Map(day.points.map((point) => [point.site, point]));
  const at = new Map(day.sites.map((site, i) => [site.site, i]));
  const skyOf = new Map(day.sky.map(({ site, sky }) => [site, sky]));
  const excluded = new Set(day.result.excluded.map(({ site }) => site));
  for (const site of day.sites) {
    site.reduction = reductionOf.get(site.site);
    site.point = pointOf.get(site.site);
    site.state = stateOf(site.reduction, site.point, skyOf.get(site.site), excluded.has(site.site));
    site.shadow = Math.tan(((site.reduction?.noon_angle_deg ?? NaN) * Math.PI) / 180);
    site.partners = 0;
  }
  for (const pair of day.pairs) {
    pair.a = at.get(pair.site1);
    pair.b = at.get(pair.site2);
    pair.state = pairStateOf(pair, day.result.handbook_km);
    if (pair.state === "no_count" || pair.a === undefined || pair.b === undefined) continue;
    day.sites[pair.a].partners++;
    day.sites[pair.b].partners++;
  }
  day.named = (site) => day.sites[at.get(site)]?.name || site;
  day.siteOf = (site) => day.sites[at.get(site)];
  day.counts = {
    sites: day.sites.length,
    runs: day.reductions.length,
    readings: day.reductions.reduce((sum, reduction) => sum + reduction.used + reduction.left_out, 0),
    pairs: day.pairs.filter((pair) => pair.status === "ok").length,
  };
  return day;
}
