// SPDX-License-Identifier: MIT
// A school's day: when noon comes, what to set up, who else stands on the meridian
// and under what sky, and the sheet to print.
import { ask, get, getAll, here, path } from "../house/api.js";
import { measureClock } from "../house/clock.js";
import { codePicture } from "../house/code_picture.js";
import { byId, fill, h, s } from "../house/dom.js";
import { clockMinute, clockTime, countWord, longDate, number, span, withUnit } from "../house/format.js";
import { outlines } from "../house/outlines.js";
import { attempt, attemptPage, begin, reveal, setTitle } from "../house/page.js";
import { schoolKey } from "../house/schools.js";
import { saySky, skyChoices } from "../house/sky.js";
import { word, wordOf } from "../house/words.js";
import noonWords from "../words/noon.json";
import words from "../words/plan.json";
import skyWords from "../words/sky.json";

const { day: dayName, site: siteName } = here("/days/{day}/sites/{site}");
const SHOWN = 12; // partners
const LINES = 18; // of the sheet
const TALL_MM = 2000;

let offset_s = 0; // of this device's clock, fast
let day = null;
let site = null;
let plan = null;
let places = new Map(); // of partners
let skies = new Map(); // lines of the board, by site
let chosen = []; // who was chosen as partner

const now = () => Date.now() - offset_s * 1000;
const zone = () => site.zone ?? undefined;
const measurable = () => plan.dates.filter(({ transit_utc }) => transit_utc !== null);
const isBehind = ({ stop_utc }) => Date.parse(stop_utc) < now();
// The date that matters now: the first that is not over.
const current = () => measurable().find((date) => !isBehind(date)) ?? measurable().at(-1) ?? null;

// --- time

function tick() {
  const date = current();
  if (date === null) return;
  const left_s = (Date.parse(date.transit_utc) - now()) / 1000;
  const ahead = left_s > 0;
  fill(byId("waiting-label"), word(ahead ? "plan.noon_in" : "plan.noon_was"));
  const shown = span(Math.abs(left_s));
  fill(byId("countdown"), ahead ? shown : word("plan.ago", { span: shown }));
}

function tellTimes() {
  const date = current();
  if (date === null) {
    const [first] = plan.dates;
    fill(byId("waiting-label"), word("plan.not_here", { date: longDate(first.date) }), " ", wordOf("noon.", first.status, first.reason));
    return;
  }
  const [start, noon, stop] = [date.start_utc, date.transit_utc, date.stop_utc].map((time) => Date.parse(time));
  const name = date.abbreviation ?? new Intl.DateTimeFormat("en", { timeZoneName: "short" }).formatToParts(noon).find(({ type }) => type === "timeZoneName").value;
  fill(byId("noon-at"), h("strong", {}, longDate(date.date)), ". ", word("plan.noon_at", { time: clockTime(noon, zone()), zone: name }));
  fill(byId("from-to"), word("plan.from_to", { from: clockMinute(start, zone()), to: clockMinute(stop, zone()) }));
  drawSpan(start, noon, stop);
  fill(byId("spares"), plan.dates.filter((other) => other !== date && other.date > date.date).map((other) => (other.transit_utc === null
    ? word("plan.not_here", { date: longDate(other.date) })
    : word("plan.spare", { date: longDate(other.date), time: clockTime(Date.parse(other.transit_utc), zone()) }))).flatMap((text) => [text, " "]));
  fill(byId("sheet-who"), `${site.name} · ${day.name === day.day ? "" : `${day.name} · `}${longDate(date.date)}`);
  fill(byId("sheet-noon"), word("plan.noon_at", { time: clockTime(noon, zone()), zone: name }), " ", word("plan.from_to", { from: clockMinute(start, zone()), to: clockMinute(stop, zone()) }));
}

// The motif lengthwise: the stretch of marking, the gnomon at noon.
function drawSpan(start, noon, stop) {
  const x = (ms) => 30 + ((ms - start) / (stop - start)) * 300;
  const name = (ms, text) => [s("text", { x: x(ms), y: 66, "text-anchor": "middle" }, clockMinute(ms, zone())), s("text", { x: x(ms), y: 80, "text-anchor": "middle" }, text)];
  byId("span").setAttribute("viewBox", "0 0 360 88");
  fill(byId("span"),
    s("path", { class: "ground", d: "M0 50h360" }), s("path", { class: "stretch", d: `M${x(start)} 50H${x(stop)}` }),
    s("path", { class: "noon", d: `M${x(noon)} 4v46` }), s("path", { class: "gnomon", d: `M${x(noon)} 50v-24` }),
    name(start, word("plan.start")), name(noon, word("plan.noon")), name(stop, word("plan.stop")));
}

// --- what to set up

const metres = (mm) => (mm >= 10000 ? withUnit(mm / 1000, 1, "m") : withUnit(mm, 0, "mm"));
const between = (from, to) => (from === null || to === null ? null
  : metres(from) === metres(to) ? metres(from) : word("plan.between", { from: metres(from), to: metres(to) }));

function tellStand() {
  const date = current();
  byId("stand").closest("section").hidden = date === null;
  if (date === null) return;
  const rows = [
    [word("plan.gnomon"), metres(date.gnomon_mm)],
    [word("plan.suggested"), date.suggested_gnomon_mm === null ? null : metres(date.suggested_gnomon_mm)],
    [word("plan.ground"), date.ground_mm === null ? null : metres(date.ground_mm)],
    [word("plan.shadow"), between(date.shadow_from_mm, date.shadow_to_mm)],
    [word("plan.fuzzy"), between(date.fuzzy_from_mm, date.fuzzy_to_mm)],
  ];
  fill(byId("stand"), rows.filter(([, value]) => value !== null).map(([name, value]) => h("div", {}, h("dt", {}, name), h("dd", {}, value))));
  byId("blind").hidden = !plan.blind;
  const things = [word("plan.bring_gnomon"), word("plan.bring_level"), word("plan.bring_tape"), word("plan.bring_clock"), word("plan.bring_pins"), word("plan.bring_shade")];
  if (date.sun_height === "low") things.push(word("plan.bring_strip"));
  if (date.gnomon_mm > TALL_MM) things.push(word("plan.bring_guys"));
  fill(byId("bring"), things.map((thing) => h("li", {}, thing)));
}

// --- the meridian

const partners = () => plan.partners.slice(0, SHOWN);

function skyOf(name) {
  const line = skies.get(name);
  if (line === undefined) return "–";
  if (line.readings > 0) return countWord("plan.sky_measured", line.readings);
  return line.sky === null ? word("plan.sky_untold") : wordOf("sky.state_", line.sky);
}

function tellPartners() {
  const rows = partners();
  byId("partners-words").textContent = word(rows.length > 0 ? "plan.partners_words" : "plan.no_partners");
  byId("partners").closest(".meridian").hidden = rows.length === 0;
  const heads = [word("plan.school"), word("plan.distance"), word("plan.expected"), word("plan.sky")];
  const cell = (i, content, numeric) => h("td", { class: numeric ? "number" : null, role: "cell", dataset: { heading: heads[i] } }, content);
  byId("partners").setAttribute("role", "table");
  fill(byId("partners"),
    h("thead", {}, h("tr", {}, heads.map((head, i) => h("th", { scope: "col", role: "columnheader", class: i === 1 || i === 2 ? "number" : null }, head)))),
    h("tbody", {}, rows.map(({ site: other, name, separation_km, expected_sigma_km, allowed }, i) => h("tr", { role: "row" },
      cell(0, [h("b", {}, `${i + 1} `), name, chosen.includes(other) && h("span", { class: "quiet" }, ` · ${word("plan.your_partner")}`), !allowed && h("span", { class: "quiet" }, ` · ${word("plan.not_allowed")}`)]),
      cell(1, number(separation_km), true), cell(2, expected_sigma_km === null ? "–" : number(expected_sigma_km), true), cell(3, skyOf(other))))));
  fill(byId("more"), plan.partners.length > SHOWN && word("plan.more_partners", { count: SHOWN }));
}

// Whoever was chosen beforehand, and who was offered since.
async function fetchPartners() {
  const { partners: mine } = await get(path`/days/${dayName}/sites/${siteName}/partner`);
  chosen = mine.map(({ site: other }) => other);
  tellPartners();
  const nameOf = (other) => plan.partners.find((one) => one.site === other)?.name ?? word("plan.partner_someone");
  fill(byId("partner"), mine.map(({ name, kind, because, sky }) => h("li", {},
    h("strong", {}, kind === "assigned" ? word("plan.partner_assigned", { name })
      : kind === "offered" ? word("plan.partner_offered", { name, other: nameOf(because) }) : word("plan.partner_second", { name })),
    sky !== null && [" ", word("plan.partner_sky", { sky: wordOf("sky.state_", sky) })])));
}

// A strip of the Earth along the meridian, degrees as they are.
async function drawBand() {
  const here_ = { lon: site.lon_deg, lat: site.lat_deg };
  const others = partners().map(({ site: other }) => places.get(other)).filter((found) => found !== undefined);
  if (others.length === 0) return;
  const lats = [here_.lat, ...others.map(([, lat]) => lat)];
  const middle = (Math.max(...lats) + Math.min(...lats)) / 2;
  const tall = Math.max(8, (Math.max(...lats) - Math.min(...lats)) * 1.2);
  const squeeze = Math.cos((middle * Math.PI) / 180); // a degree of longitude is so much shorter
  const wide = tall * 0.8;
  const x = (lon) => ((((lon - here_.lon + 540) % 360) - 180) * squeeze);
  const y = (lat) => middle - lat;
  const size = tall / 26;
  const land = s("path", { class: "coast", transform: `translate(${-here_.lon * squeeze} ${middle}) scale(${squeeze} 1)` });
  fill(byId("band"), s("svg", { class: "band", viewBox: `${-wide / 2} ${-tall / 2} ${wide} ${tall}`, role: "img", "aria-label": word("plan.band") },
    land, s("path", { class: "noon", d: `M0 ${-tall / 2}v${tall}` }),
    others.map(([lon, lat], i) => [
      s("circle", { class: "school", cx: x(lon), cy: y(lat), r: size / 2.6 }),
      s("text", { x: x(lon) + size * 0.6, y: y(lat) + size / 3, "font-size": size }, String(i + 1)),
    ]),
    s("path", { class: "mine", d: `M${-size / 2} ${y(here_.lat)}l${size / 2} ${-size / 2}l${size / 2} ${size / 2}l${-size / 2} ${size / 2}z` }),
    s("text", { x: size * 0.8, y: y(here_.lat) + size / 3, "font-size": size }, word("plan.you"))));
  land.setAttribute("d", await outlines());
}

// --- the sky

function tellSky(board) {
  skies = new Map(board.sites.map((line) => [line.site, line]));
  fill(byId("counts"), word("plan.counts", Object.fromEntries(Object.entries(board.counts).map(([name, count]) => [name, number(count)]))));
  const mine = skies.get(siteName)?.sky;
  if (mine) byId("sky").elements.sky.value = mine;
  tellPartners();
}

async function fetchSky() {
  const first = await get(path`/days/${dayName}/sky?limit=500`);
  tellSky(first.next_cursor === null ? first : { ...first, sites: await getAll(path`/days/${dayName}/sky`, "sites") });
}

// Who does not take part is not on the board, and has no partner.
async function fetchBoard() {
  await fetchSky();
  if (skies.has(siteName)) await fetchPartners();
}

// Whatever happens on the board is told by itself; a lost stream comes back alone.
function follow() {
  const stream = new EventSource(`/api/v1${path`/days/${dayName}/live`}`);
  let wanted = null;
  const again = () => {
    wanted ??= setTimeout(() => {
      wanted = null;
      fetchBoard().catch(() => {});
    }, 1000);
  };
  for (const event of ["sky", "run", "partner"]) stream.addEventListener(event, again);
}

async function sayIt(event) {
  event.preventDefault();
  const sky = byId("sky").elements.sky.value;
  const key = schoolKey(siteName) ?? byId("sky-key").value.trim();
  if (sky === "" || key === "") {
    (key === "" ? byId("sky-key") : byId("skies").querySelector("input")).focus();
    return;
  }
  const done = await attempt(() => saySky(dayName, siteName, key, sky), { where: byId("sky-said"), again: false });
  if (done === undefined) return;
  fill(byId("sky-said"), word("sky.told"));
  attempt(fetchSky);
}

// --- the code for the class

async function makeCode(event) {
  event.preventDefault();
  const key = byId("school-key").value.trim();
  if (key === "") {
    byId("school-key").focus();
    return;
  }
  const made = await attempt(() => ask("POST", path`/sites/${siteName}/class_code`, { key, body: undefined }), { where: byId("code-said"), again: false });
  if (made === undefined) return;
  const address = `${location.origin}/play`;
  fill(byId("code-said"), word("plan.sheet_code", { address }), " ", h("strong", { class: "secret" }, made.class_code));
  fill(byId("sheet-code"), word("plan.sheet_code", { address }), " ", h("strong", {}, made.class_code));
  for (const id of ["code-picture", "sheet-picture"]) fill(byId(id), codePicture(`${address}#${made.class_code}`, word("plan.picture")));
}

function ruleSheet() {
  fill(byId("sheet-lines"),
    h("thead", {}, h("tr", {}, [word("plan.sheet_number"), word("plan.sheet_time"), word("plan.sheet_shadow"), word("plan.sheet_remark")].map((head) => h("th", {}, head)))),
    h("tbody", {}, Array.from({ length: LINES }, (_, i) => h("tr", {}, h("td", {}, String(i + 1)), h("td"), h("td"), h("td")))));
}

async function show() {
  [day, site, plan] = await Promise.all([
    get(path`/days/${dayName}`), get(path`/sites/${siteName}`), get(path`/days/${dayName}/sites/${siteName}/plan`),
  ]);
  setTitle(`${site.name}, ${word("plan.title")}`);
  fill(byId("who"), `${site.name} · `, h("a", { href: path`/days/${dayName}` }, day.name === day.day ? longDate(day.date) : day.name));
  reveal("plan");
  tellTimes();
  tick();
  tellStand();
  tellPartners();
  if (day.state !== "announced") fill(byId("state"), wordOf("plan.state_", day.state));
  await fetchBoard();
  if (plan.partners.length === 0) return plan;
  const { features } = await get(path`/days/${dayName}/sites.geojson`);
  places = new Map(features.map(({ id, geometry }) => [id, geometry.coordinates]));
  await drawBand();
  return plan;
}

begin({ ...words, ...noonWords, ...skyWords }, async () => {
  document.documentElement.classList.add("sheet-page");
  ruleSheet();
  fill(byId("skies"), skyChoices());
  byId("sky-key-field").hidden = schoolKey(siteName) !== undefined;
  byId("school-key").value = schoolKey(siteName) ?? "";
  byId("sky").addEventListener("submit", sayIt);
  byId("code").addEventListener("submit", makeCode);
  byId("print").addEventListener("click", () => window.print());
  if ((await attemptPage(show, [[path`/days/${dayName}`, word("house.to_day")]])) === undefined) return;
  setInterval(tick, 500);
  follow();
  try {
    ({ offset_s } = await measureClock());
  } catch { /* this device's own clock, then */ }
});
