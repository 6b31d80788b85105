// SPDX-License-Identifier: MIT
// A certificate for a class, on one sheet of A4 or Letter. What is typed here is printed
// and goes nowhere else.
import { Refusal, get, here, path } from "../house/api.js";
import { byId, fill, h, s } from "../house/dom.js";
import { longDate, measured, number, signed } from "../house/format.js";
import { attemptPage, begin, reveal, setTitle } from "../house/page.js";
import { word } from "../house/words.js";
import words from "../words/certificate.json";

const { day, site } = here("/days/{day}/certificates/{site}");

const PARTNERS = 12; // to choose from

// The motif: the gnomon with the very shadow of this noon, the noon line through it.
function motif(noon_angle_deg) {
  const height = 90;
  const reach = Math.max(Math.min(height * Math.tan((Math.abs(noon_angle_deg) * Math.PI) / 180), 300), 4);
  const foot = 180 - reach / 2;
  return s("svg", { class: "motif", viewBox: "0 0 360 130", "aria-hidden": "true" },
    s("path", { class: "ground", d: "M0 110H360" }), s("path", { class: "noon", d: `M${foot} 4V126` }),
    s("path", { class: "shadow", d: `M${foot} 110h${reach}` }), s("path", { class: "ray", d: `M${foot} ${110 - height}l${reach} ${height}` }),
    s("path", { class: "gnomon", d: `M${foot} 110v-${height}` }));
}

async function show() {
  const base = path`/days/${day}/sites/${site}`;
  const [record, place, { reduction }, { pairs }, result, board, { editions }] = await Promise.all([
    get(path`/days/${day}`), get(path`/sites/${site}`), get(`${base}/run`), get(`${base}/pairs?limit=500`),
    get(path`/days/${day}/result`), get(`${path`/days/${day}`}/leaderboard?limit=500`),
    get(`/editions?${new URLSearchParams({ subject: `days/${day}`, limit: "1" })}`),
  ]);
  if (reduction.status !== "ok") throw new Refusal(404, "no_certificate", "", "");
  // The surest partners first; who does not belong to the day's line comes last.
  const other = (pair) => (pair.site1 === site ? pair.site2 : pair.site1);
  const strays = result.left_out.map((out) => out.site);
  const rank = (pair) => pair.sigma_km / pair.circumference_km + (strays.includes(other(pair)) ? 1 : 0);
  const counting = pairs.filter((pair) => pair.status === "ok").sort((a, b) => rank(a) - rank(b)).slice(0, PARTNERS);
  const partners = await Promise.all(counting.map((pair) => get(path`/sites/${other(pair)}`)));
  const standing = board.sites.find((row) => row.site === site);
  setTitle(`${word("certificate.title")}: ${place.name}`);
  byId("to-run").href = `${path`/days/${day}/sites/${site}`}/run`;
  fill(byId("to-run"), word("certificate.back", { school: place.name }));
  const name = h("span");
  const together = h("div");
  const showPartner = (i) => fill(together,
    h("p", {}, word("certificate.with_partner", { school: partners[i].name, km: number(counting[i].separation_km) })),
    h("p", { class: "big" }, measured(counting[i].circumference_km, counting[i].sigma_km, "km")),
    h("p", {}, word("certificate.error", { percent: signed(counting[i].error_percent, 2), sigmas: number(Math.abs(counting[i].error_sigmas), 1) })));
  byId("partner-field").hidden = counting.length < 2;
  fill(byId("partner"), partners.map((partner, i) => h("option", { value: i }, partner.name)));
  byId("partner").addEventListener("change", (event) => showPartner(Number(event.target.value)));
  if (counting.length > 0) showPartner(0);
  fill(byId("certificate"),
    motif(reduction.noon_angle_deg),
    h("p", { class: "who", id: "certificate-name" }, name, place.name),
    h("p", {}, word("certificate.measured", { date: longDate(reduction.transit_utc.slice(0, 10)) })),
    h("p", { class: "big" }, measured(Math.abs(reduction.noon_angle_deg), reduction.sigma_deg, "°")),
    h("p", {}, word("certificate.from_overhead", { used: number(reduction.used) })),
    together,
    standing !== undefined && result.status === "ok" && h("p", {}, word("certificate.country", { place: number(standing.place), day: record.name === record.day ? longDate(record.date) : record.name }), " ",
      measured(result.circumference_km, result.sigma_km, "km"), "."),
    h("div", { class: "signs" }, h("p", {}, word("certificate.teacher")), h("p", {}, word("certificate.organiser"))),
    h("p", { class: "address" }, editions.length > 0 && `${word("certificate.edition", { number: number(editions[0].edition) })}, `, `${location.host}${path`/days/${day}/sites/${site}/run`}`));
  byId("class-name").addEventListener("input", (event) => fill(name, event.target.value.trim() !== "" && `${event.target.value.trim()}, `));
  byId("print").addEventListener("click", () => print());
  reveal("certificate-page");
  return reduction;
}

begin(words, () => attemptPage(show, [[path`/days/${day}/sites/${site}/run`, word("certificate.to_run")], [path`/days/${day}`, word("house.to_day")]]));
