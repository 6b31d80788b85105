// SPDX-License-Identifier: MIT
// A school registers its playground and joins a day: the place, who they are, the
// two secrets, the day. One thing after the other.
import { LATER, token } from "../house/again.js";
import { ask, get, getAll, path } from "../house/api.js";
import { codePicture } from "../house/code_picture.js";
import { byId, fill, h } from "../house/dom.js";
import { degrees, longDate, number, parseAngle, parseNumber, shortDate, withUnit } from "../house/format.js";
import { pointMap } from "../house/map.js";
import { attempt, begin } from "../house/page.js";
import { keepSchoolKey } from "../house/schools.js";
import { word, wordOf } from "../house/words.js";
import words from "../words/join.json";
import mapWords from "../words/map.json";
import warningWords from "../words/warning.json";

const NORTH = "N";
const SOUTH = "S";
const EAST = "E";
const WEST = "WO"; // O: Spanish oeste
const PLACE_DECIMALS = 5; // of a degree: a metre
const CLOCK_DEG = 45; // how far a zone's clock may stand from its Sun, and more
const DAY_MS = 86400000;

let place = null; // {lat_deg, lon_deg}
let map = null;
let school = null; // {site, key}

const asText = ({ lat_deg, lon_deg }) => ({
  lat: degrees(lat_deg, 4, word("join.north"), word("join.south")),
  lon: degrees(lon_deg, 4, word("join.east"), word("join.west")),
});

// --- the place

// The meridian that the device's clock keeps, by its winter time.
function clockLon() {
  const year = new Date().getFullYear();
  const offsets = [0, 6].map((month) => -new Date(year, month, 1).getTimezoneOffset());
  return Math.min(...offsets) / 4;
}

const apart = (one, other) => Math.abs(((one - other + 540) % 360) - 180);

// Far from where the clock says, and near it when the two are exchanged.
function looksSwapped({ lat_deg, lon_deg }) {
  if (Math.abs(lat_deg) > 90) return Math.abs(lon_deg) <= 90;
  return Math.abs(lon_deg) <= 90 && apart(lon_deg, clockLon()) > CLOCK_DEG && apart(lat_deg, clockLon()) < CLOCK_DEG / 2;
}

function tellPlace(note = "") {
  const there = place !== null && Math.abs(place.lat_deg) <= 90;
  fill(byId("place"), there && word("join.place_is", asText(place)), note !== "" && [" ", note]);
  const swapped = place !== null && looksSwapped(place);
  byId("swapped").hidden = !swapped;
  if (swapped) fill(byId("swapped").firstElementChild, word("join.swapped", { lon: degrees(clockLon(), 0, word("join.east"), word("join.west")) }));
}

function setPlace(found, note) {
  place = { lat_deg: Number(found.lat_deg.toFixed(PLACE_DECIMALS)), lon_deg: Number(found.lon_deg.toFixed(PLACE_DECIMALS)) };
  byId("lat").value = number(place.lat_deg, PLACE_DECIMALS);
  byId("lon").value = number(place.lon_deg, PLACE_DECIMALS);
  complain("lat");
  complain("lon");
  tellPlace(note);
}

function complain(id, text = "") {
  byId(id).setAttribute("aria-invalid", String(text !== ""));
  fill(byId(`${id}-wrong`), text);
}

// What is typed, as it is typed; complaints wait until the end.
function readTyped() {
  const lat_deg = parseAngle(byId("lat").value, NORTH, SOUTH);
  const lon_deg = parseAngle(byId("lon").value, EAST, WEST);
  place = lat_deg === null || lon_deg === null || Math.abs(lat_deg) > 180 || Math.abs(lon_deg) > 180 ? null : { lat_deg, lon_deg };
  if (place !== null && Math.abs(lat_deg) <= 90) map.show(place);
  tellPlace();
  return { lat_deg, lon_deg };
}

function locate() {
  const told = byId("located");
  fill(told, word("join.locating"));
  navigator.geolocation.getCurrentPosition(({ coords }) => {
    setPlace({ lat_deg: coords.latitude, lon_deg: coords.longitude });
    map.show(place);
    if (coords.altitude !== null) byId("elev").value = number(coords.altitude, 0);
    fill(told, word("join.located", { blur: withUnit(Math.max(1, coords.accuracy), 0, "m") }));
  }, (failure) => fill(told, failure.code === failure.PERMISSION_DENIED ? word("join.locate_denied") : word("join.locate_failed")),
  { enableHighAccuracy: true, timeout: 20000, maximumAge: 60000 });
}

function takePlace(event) {
  event.preventDefault();
  const { lat_deg, lon_deg } = readTyped();
  const lonFits = lon_deg !== null && Math.abs(lon_deg) <= 180;
  const latFits = lat_deg !== null && Math.abs(lat_deg) <= 90;
  complain("lon", lonFits ? "" : word("join.lon_wrong"));
  complain("lat", latFits ? "" : word("join.lat_wrong"));
  if (!latFits || !lonFits) {
    byId(latFits ? "lon" : "lat").focus();
    return;
  }
  showPart("who");
  fill(byId("who-place"), word("join.place_is", asText(place)));
  byId("name").focus();
}

function showPart(part) {
  for (const id of ["where", "who", "keys", "choose"]) byId(id).hidden = id !== part;
  window.scrollTo(0, 0);
}

// --- who

function optionalNumber(id) {
  const text = byId(id).value.trim();
  const value = text === "" ? null : parseNumber(text);
  const wrong = text !== "" && value === null;
  byId(id).setAttribute("aria-invalid", String(wrong));
  return { value, wrong: wrong ? byId(id) : null };
}

async function register(event) {
  event.preventDefault();
  const name = byId("name").value.trim();
  const [gnomon, elev] = ["gnomon", "elev"].map(optionalNumber);
  complain("name", /^[\p{L}\p{N}]/u.test(name) ? "" : word("join.name_wrong"));
  const numbers = gnomon.wrong ?? elev.wrong;
  fill(byId("who-wrong"), numbers === null ? "" : word("join.number_wrong"));
  const first = byId("name-wrong").textContent !== "" ? byId("name") : numbers;
  if (first !== null) {
    first.closest("details")?.setAttribute("open", "");
    first.focus();
    return;
  }
  const text = (id) => byId(id).value.trim() || null;
  const body = {
    name, ...place, gnomon_mm: gnomon.value, elev_m: elev.value, zone: text("zone"), contact: text("contact"),
    invitation: text("invitation"),
    position_decimals: byId("rounding").value === "" ? null : Number(byId("rounding").value),
  };
  const made = await attempt(() => registerOnce(body), { where: byId("who-wrong"), again: false });
  if (made !== undefined) showKeys(made);
}

// The registration that has no answer as yet. Sent again as it stands it goes under the
// same key, and the service gives the same answer.
let pending = null; // {print, key}

async function registerOnce(body) {
  const print = JSON.stringify(body);
  if (pending?.print !== print) pending = { print, key: token(16) };
  try {
    const made = await ask("POST", "/sites", { body, headers: { "Idempotency-Key": pending.key } });
    pending = null;
    return made;
  } catch (failure) {
    if (!LATER.includes(failure.status)) pending = null;
    throw failure;
  }
}

// What was taken, and yet looks odd.
const warned = (warnings) => warnings.map(({ code, detail }) =>
  h("li", {}, h("strong", {}, word("join.warnings")), " ", wordOf("warning.", code, detail)));

// --- the two secrets, this once

function showKeys({ site, school_key, class_code, class_code_expires_utc, warnings = [] }) {
  school = { site, key: school_key };
  showPart("keys");
  byId("choose").hidden = false;
  fill(byId("keys-name"), h("strong", {}, site.name));
  fill(byId("school-key"), school_key);
  fill(byId("class-code"), class_code);
  fill(byId("class-code-words"), word("join.class_code_words", { date: shortDate(class_code_expires_utc.slice(0, 10)) }));
  fill(byId("picture"), codePicture(`${location.origin}/play#${class_code}`, word("join.picture")));
  fill(byId("warnings"), warned(warnings));
  byId("keys-heading").focus();
  offerDays();
}

// --- the day

async function takePart(day) {
  const done = await attempt(() => ask("PUT", path`/days/${day}/sites/${school.site.site}`, { key: school.key }), { where: byId("choose-wrong"), again: false });
  if (done === undefined) return;
  const plan = path`/days/${day}/sites/${school.site.site}`;
  if (done.status === "taking_part" && done.warnings.length === 0) {
    location.assign(plan);
    return;
  }
  fill(byId("part"), h("p", {}, h("strong", {}, wordOf("join.part_", done.status))), h("ul", { class: "warnings" }, warned(done.warnings)),
    h("a", { class: "button main", href: plan }, word("join.to_plan")));
}

async function offerDays() {
  const days = await attempt(() => getAll("/days", "days"));
  const ahead = days.filter(({ date, spare_dates }) => [date, ...spare_dates].some((one) => Date.parse(one) > Date.now() - 2 * DAY_MS));
  fill(byId("days"), ahead.length === 0 ? h("li", {}, word("join.no_days")) : ahead.map((day) => {
    const title = day.name === day.day ? longDate(day.date) : day.name;
    return h("li", { class: "offer" }, h("span", {}, h("strong", {}, title), " ", h("span", { class: "quiet" }, longDate(day.date))),
      h("button", { type: "button", "aria-label": word("join.take_part_in", { day: title }), on: { click: () => takePart(day.day) } }, word("join.take_part")));
  }));
}

async function useKey() {
  const key = byId("have").value.trim();
  complain("have");
  const told = await attempt(() => get("/session", { key }), { where: byId("have-wrong"), again: false });
  if (told === undefined) return;
  if (told.role !== "school") {
    complain("have", word("join.not_school"));
    return;
  }
  const site = await attempt(() => get(path`/sites/${told.site}`));
  school = { site, key };
  showPart("choose");
  byId("choose").prepend(h("h1", {}, site.name));
  offerDays();
}

begin({ ...words, ...mapWords, ...warningWords }, () => {
  map = pointMap((found) => setPlace(found, word("join.blur", { blur: found.blur_km < 2 ? withUnit(found.blur_km * 1000, 0, "m") : withUnit(found.blur_km, 0, "km") })));
  byId("map").append(map.node);
  byId("zone").value = Intl.DateTimeFormat().resolvedOptions().timeZone;
  byId("locate").hidden = !("geolocation" in navigator) || !window.isSecureContext;
  byId("locate").addEventListener("click", locate);
  byId("lat").addEventListener("input", readTyped);
  byId("lon").addEventListener("input", readTyped);
  byId("swap").addEventListener("click", () => {
    setPlace({ lat_deg: place.lon_deg, lon_deg: place.lat_deg });
    map.show(place);
  });
  byId("where").addEventListener("submit", takePlace);
  byId("who").addEventListener("submit", register);
  byId("who-back").addEventListener("click", () => showPart("where"));
  byId("print").addEventListener("click", () => window.print());
  byId("keep-key").addEventListener("change", ({ target }) => keepSchoolKey(school.site.site, target.checked ? school.key : null));
  byId("have-go").addEventListener("click", useKey);
});
