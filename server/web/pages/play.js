// SPDX-License-Identifier: MIT
// The playground: a class opens it once with its code, then it works without a
// network. Everything is kept on the device at once, and handed in when there is one.
import { ask, get, getAll, path, Refusal } from "../house/api.js";
import { clockJump, measureClock } from "../house/clock.js";
import { drawCurve } from "../house/curve.js";
import { byId, fill, h } from "../house/dom.js";
import { clockTime, countWord, longDate, measured, number, parseNumber, shortDate, span, withUnit } from "../house/format.js";
import { currentClass, forgetClass, keepClass, keepRun, keptRun } from "../house/keep.js";
import { attempt, begin } from "../house/page.js";
import { science as loading } from "../house/phone_science.js";
import { asSent, byTime, counted, deliver, forScience, height_mm, isSent, newReading, newRun, request, trueMs } from "../house/run.js";
import { saySky, skyChoices } from "../house/sky.js";
import { beginStretch, clockOfRun, clockOfStretch, noteClock, trueOf } from "../house/stretches.js";
import { word, wordOf } from "../house/words.js";
import words from "../words/play.json";
import skyWords from "../words/sky.json";
import slips from "../words/slip.json";

const CODE = /^[0-9A-Z]{10}$/;
const NEAR_DAYS = 60; // days farther away are not offered
const DAY_MS = 86400000;
const CLOCK_NOTICED_S = 3;
const CLOCK_TOO_FAR_S = 6 * 3600; // times farther from noon are refused as they came
const RETRY_MS = 15000;
const CLOCK_AGAIN_MS = 300000;
const CURVE_POINTS = 60;
const READINGS_MIN = 3;

let opened = null; // {code, site, day, suns, plan}
let run = newRun();
let science = null;
let refused = null; // what was said of the last hand-in
let exists = null; // another phone's run that stands in the way
let delivering = false;
let editing = null; // id of the reading being changed
let clockFresh = false; // compared since the page was opened, and not set since
let jumps = 0; // of the device's clock

const now = () => trueOf(run, Date.now());
const zone = () => opened.site.zone ?? undefined;
const save = () => keepRun(opened, run);

function show(part) {
  for (const id of ["enter", "stand", "measure"]) byId(id).hidden = id !== part;
  for (const node of document.querySelectorAll(".place"))
    node.textContent = opened === null ? "" : `${opened.site.name} · ${longDate(opened.day.date)}`;
  window.scrollTo(0, 0);
}

// --- entering

const bare = (text) => text.toUpperCase().replace(/[^0-9A-Z]/g, "");

// A code that came with the address was read off the sheet; it leaves the address at once.
function codeOfAddress() {
  const code = bare(location.hash);
  if (location.hash !== "") history.replaceState(null, "", location.pathname);
  return CODE.test(code) ? `${code.slice(0, 5)}-${code.slice(5)}` : null;
}

async function daysAtHand() {
  const away = ({ date }) => Math.abs(Date.parse(`${date}T12:00:00Z`) - Date.now());
  const days = (await getAll("/days", "days")).filter((day) => away(day) < NEAR_DAYS * DAY_MS);
  return days.sort((one, other) => away(one) - away(other));
}

async function openClass(code, day) {
  const { role, site } = await get("/session", { key: code });
  if (role !== "class") throw new Refusal(422, "not_a_class_code", "", word("play.code_other"));
  const [place, plan, ...suns] = await Promise.all([
    get(path`/sites/${site}`),
    get(path`/days/${day.day}/sites/${site}/plan`),
    ...[day.date, ...day.spare_dates].map((date) => get(path`/suns/${date}`)),
  ]);
  opened = { code, site: place, day, suns, plan };
  await keepClass(opened);
  await takeUp();
}

// What is kept of the class's run. Nothing is known of the clock while the page was closed.
async function takeUp() {
  run = (await keptRun(opened)) ?? newRun();
  beginStretch(run);
  clockFresh = false;
  await save();
}

function offerDays(days) {
  fill(byId("day"), days.map((day) => h("option", { value: day.day }, `${shortDate(day.date)}${day.name === day.day ? "" : `, ${day.name}`}`)));
  byId("day-field").hidden = days.length < 2;
  if (days.length === 0) fill(byId("code-wrong"), word("play.no_day"));
}

async function enter() {
  show("enter");
  const form = byId("enter");
  const known = attempt(daysAtHand);
  form.onsubmit = async (event) => {
    event.preventDefault();
    const code = bare(byId("code").value);
    const fits = CODE.test(code);
    byId("code").setAttribute("aria-invalid", String(!fits));
    fill(byId("code-wrong"), fits ? "" : word("play.code_wrong"));
    if (!fits) {
      byId("code").focus();
      return;
    }
    const day = (await known).find((one) => one.day === byId("day").value);
    if (day === undefined) return;
    attempt(async () => {
      await openClass(`${code.slice(0, 5)}-${code.slice(5)}`, day);
      goOn();
    }, { where: byId("code-wrong"), again: false });
  };
  const code = codeOfAddress();
  if (code !== null) byId("code").value = code;
  const days = await known;
  offerDays(days);
  if (code !== null && days.length === 1) form.requestSubmit();
}

// --- the gnomon

const PARTS_MAX = 6;
const HEIGHT_MM = [20, 100000];

function partField(i, length_mm) {
  const id = `part-${i}`;
  return h("div", { class: "field" }, h("label", { for: id }, word("play.part", { count: i + 1 })),
    h("input", { id, inputmode: "decimal", autocomplete: "off", value: length_mm === undefined ? "" : number(length_mm, length_mm % 1 === 0 ? 0 : 1) }));
}

const partInputs = () => [...byId("parts").querySelectorAll("input")];

function tellHeight() {
  const lengths = partInputs().map((input) => parseNumber(input.value));
  const sum = lengths.reduce((whole, length) => whole + (length ?? 0), 0);
  fill(byId("height"), sum > 0 ? word("play.height", { height: withUnit(sum, sum % 1 === 0 ? 0 : 1, "mm") }) : "");
  byId("less").hidden = lengths.length < 2;
  byId("more").hidden = lengths.length === PARTS_MAX;
  return { lengths, sum };
}

function takeGnomon(event) {
  event.preventDefault();
  const { lengths, sum } = tellHeight();
  const wrong = lengths.findIndex((length) => length === null || length <= 0);
  partInputs().forEach((input, i) => input.setAttribute("aria-invalid", String(i === wrong)));
  const text = wrong >= 0 ? word("play.part_wrong") : sum < HEIGHT_MM[0] || sum > HEIGHT_MM[1] ? word("play.height_wrong") : "";
  fill(byId("stand-wrong"), text);
  if (text !== "") {
    partInputs()[Math.max(wrong, 0)].focus();
    return;
  }
  run.gnomon = { parts: lengths.map((length_mm) => ({ length_mm })), edge: byId("stand").elements.edge.value };
  save();
  goOn();
}

function stand() {
  show("stand");
  const usual = run.gnomon ?? { parts: [{ length_mm: opened.site.gnomon_mm ?? undefined }], edge: opened.site.edge };
  fill(byId("parts"), usual.parts.map(({ length_mm }, i) => partField(i, length_mm)));
  byId("stand").elements.edge.value = usual.edge;
  tellHeight();
}

function prepareStand() {
  byId("stand").addEventListener("submit", takeGnomon);
  byId("parts").addEventListener("input", tellHeight);
  byId("more").addEventListener("click", () => {
    byId("parts").append(partField(partInputs().length));
    tellHeight();
    partInputs().at(-1).focus();
  });
  byId("less").addEventListener("click", () => {
    byId("parts").lastElementChild.remove();
    tellHeight();
  });
}

// --- the noon of the readings

const sunOf = (ms) => opened.suns.map((sun) => ({ sun, away: Math.abs(science.transit_utc_s(opened.site, sun) * 1000 - ms) }))
  .sort((one, other) => one.away - other.away)[0].sun;

function noonMs() {
  const readings = byTime(run);
  const at = readings.length > 0 ? trueMs(run, readings[Math.floor(readings.length / 2)]) : now();
  const noons = opened.plan.dates.filter(({ transit_utc }) => transit_utc !== null).map(({ transit_utc }) => Date.parse(transit_utc));
  return noons.sort((one, other) => Math.abs(one - at) - Math.abs(other - at))[0] ?? null;
}

// Notes that the device's clock was set, or slept; whether it was.
function watchClock() {
  const jump_s = clockJump();
  if (jump_s === 0) return false;
  jumps += 1;
  beginStretch(run, jump_s);
  clockFresh = false;
  save();
  return true;
}

function tick() {
  if (byId("measure").hidden) return;
  if (watchClock()) compareClock();
  const noon = noonMs();
  const ahead = noon > now();
  fill(byId("now"), clockTime(now(), zone()));
  fill(byId("to-noon"), noon === null ? word("play.not_measurable")
    : word(ahead ? "play.to_noon" : "play.since_noon", { span: span(Math.abs(noon - now()) / 1000) }));
}

// --- readings

function warn(slip, text) {
  return h("li", {}, text !== undefined && h("strong", {}, text, ". "), wordOf("slip.", slip));
}

const clockCheck = (clock) => (clock === null || science === null ? null : science.clockCheck(clock, opened.day));

// As the server will: what is sent, by the rule of the day. Times of the curve are those
// of the clock that is sent.
function reduceHere(sent) {
  if (science === null || run.gnomon === null || sent.readings.length < READINGS_MIN) return null;
  const { readings, ...instrument } = forScience(sent);
  const middle_s = readings[Math.floor(readings.length / 2)].t_utc_s - (clockCheck(sent.clock)?.applied_s ?? 0);
  return science.reduce(opened.site, sunOf(middle_s * 1000), { ...instrument, readings }, opened.day);
}

function tellCurve() {
  const readings = counted(run);
  const sent = asSent(run);
  const reduction = reduceHere(sent);
  const ok = reduction !== null && reduction.status === "ok";
  const out = new Set(ok ? reduction.left_out.map(({ reading }) => reading) : []);
  const times = readings.map((reading) => trueMs(run, reading));
  const curve = [];
  if (ok)
    for (let i = 0; i <= CURVE_POINTS; i += 1) {
      const ms = times[0] + ((times.at(-1) - times[0]) * i) / CURVE_POINTS;
      curve.push([ms, science.curve_mm(ms / 1000 + (sent.clock?.offset_s ?? 0))]);
    }
  drawCurve(byId("curve"), {
    points: readings.map(({ shadow_mm }, i) => ({ ms: times[i], mm: shadow_mm, out: out.has(i) })),
    curve, noon_ms: noonMs(), zone: zone(),
  });
  fill(byId("so-far"), ok && readings.length > READINGS_MIN
    && [word("play.so_far"), " ", measured(Math.abs(reduction.noon_angle_deg), reduction.sigma_deg, "°")]);
  fill(byId("warnings"), reduction !== null && [
    reduction.run_slip !== null && warn(reduction.run_slip),
    reduction.left_out.map((left) => warn(left.reason, word("play.look_again", { time: clockTime(times[left.reading], zone()) }))),
  ]);
}

const HOURS = /^(\d{1,2})[:. ](\d{2})(?:[:. ](\d{2}))?$/;

// The instant nearest to a reading at which the clock shows what was typed.
function typedTime(text, ms) {
  const typed = text.trim().match(HOURS);
  const shown = clockTime(ms, zone()).match(HOURS);
  if (typed === null || typed[1] > 23 || typed[2] > 59 || (typed[3] ?? 0) > 59) return null;
  const seconds = ([, hours, minutes, rest]) => Number(hours) * 3600 + Number(minutes) * 60 + Number(rest ?? 0);
  return Math.floor(ms / 1000) * 1000 + (seconds(typed) - seconds(shown)) * 1000;
}

function editor(reading) {
  const time = h("input", { id: "edit-time", autocomplete: "off", inputmode: "numeric", "aria-describedby": "edit-time-hint", value: clockTime(trueMs(run, reading), zone()) });
  const length = h("input", { id: "edit-length", autocomplete: "off", inputmode: "decimal", value: reading.shadow_mm === null ? "" : number(reading.shadow_mm, reading.shadow_mm % 1 === 0 ? 0 : 1) });
  const bearing = h("input", { id: "edit-bearing", autocomplete: "off", inputmode: "decimal", "aria-describedby": "edit-bearing-hint", value: (reading.bearing_deg ?? null) === null ? "" : number(reading.bearing_deg, reading.bearing_deg % 1 === 0 ? 0 : 1) });
  const wrong = h("p", { class: "wrong", role: "alert" });
  const close = () => {
    editing = null;
    tell();
    byId("readings").querySelector(`[data-id="${reading.id}"] button`)?.focus();
  };
  return h("form", {
    class: "editor", novalidate: true,
    on: {
      submit: (event) => {
        event.preventDefault();
        const ms = typedTime(time.value, trueMs(run, reading));
        const shadow_mm = parseNumber(length.value);
        const bearing_deg = bearing.value.trim() === "" ? null : parseNumber(bearing.value);
        const turned = bearing.value.trim() === "" || (bearing_deg !== null && bearing_deg >= 0 && bearing_deg <= 360);
        const bad = ms === null ? time : shadow_mm === null || shadow_mm <= 0 ? length : turned ? null : bearing;
        for (const input of [time, length, bearing]) input.setAttribute("aria-invalid", String(input === bad));
        fill(wrong, bad === time ? word("play.time_wrong") : bad === length ? word("play.shadow_wrong") : bad === bearing ? word("play.bearing_wrong") : "");
        if (bad !== null) {
          bad.focus();
          return;
        }
        if (time.value !== clockTime(trueMs(run, reading), zone())) reading.device_ms += ms - trueMs(run, reading);
        reading.shadow_mm = shadow_mm;
        reading.bearing_deg = bearing_deg;
        save();
        close();
      },
    },
  },
  h("div", { class: "fields" },
    h("div", { class: "field" }, h("label", { for: "edit-time" }, word("play.time")), time,
      h("span", { class: "hint", id: "edit-time-hint" }, word("play.time_hint"))),
    h("div", { class: "field" }, h("label", { for: "edit-length" }, word("play.length")), length),
    h("div", { class: "field" }, h("label", { for: "edit-bearing" }, word("play.bearing")), bearing,
      h("span", { class: "hint", id: "edit-bearing-hint" }, word("play.bearing_hint")))),
  wrong,
  h("div", { class: "buttons" },
    h("button", { class: "main" }, word("play.save")),
    h("button", { type: "button", on: { click: () => { reading.struck = !reading.struck; save(); close(); } } },
      reading.struck ? word("play.unstrike") : word("play.strike")),
    h("button", { type: "button", on: { click: close } }, word("play.cancel"))));
}

function line(reading) {
  const time = clockTime(trueMs(run, reading), zone());
  if (editing === reading.id) return h("li", { dataset: { id: reading.id } }, editor(reading));
  const length = reading.shadow_mm === null ? word("play.waiting") : withUnit(reading.shadow_mm, reading.shadow_mm % 1 === 0 ? 0 : 1, "mm");
  const figures = [h("span", {}, time), h("span", {}, length)];
  return h("li", { dataset: { id: reading.id } },
    reading.struck ? [h("s", { class: "figures" }, figures), h("span", { class: "unseen" }, word("play.struck"))] : h("span", { class: "figures" }, figures),
    h("button", {
      type: "button", class: "small", "aria-label": word("play.edit_of", { time }),
      on: { click: () => { editing = reading.id; tell(); byId("edit-length").focus(); } },
    }, word("play.edit")));
}

// The mark that still wants its length, the newest first.
const waiting = () => byTime(run).reverse().find(({ shadow_mm, struck }) => shadow_mm === null && !struck);

function tellThumb() {
  const reading = editing === null ? waiting() : undefined;
  byId("length").hidden = reading === undefined;
  byId("press").hidden = reading !== undefined || editing !== null;
  if (reading !== undefined)
    fill(byId("shadow-label"), word("play.shadow_of", { time: clockTime(trueMs(run, reading), zone()) }));
}

function take() {
  if (watchClock()) compareClock();
  run.readings.push(newReading(run, Date.now()));
  save();
  tell();
  byId("shadow").value = "";
  byId("shadow").focus();
}

function keepLength(event) {
  event.preventDefault();
  const shadow_mm = parseNumber(byId("shadow").value);
  const fits = shadow_mm !== null && shadow_mm > 0 && shadow_mm <= 600000;
  byId("shadow").setAttribute("aria-invalid", String(!fits));
  fill(byId("shadow-wrong"), fits ? "" : word("play.shadow_wrong"));
  if (!fits) {
    byId("shadow").focus();
    return;
  }
  waiting().shadow_mm = shadow_mm;
  byId("shadow").value = "";
  save();
  tell();
  byId("take").focus({ preventScroll: true });
}

function dropMark() {
  const reading = waiting();
  run.readings = run.readings.filter((one) => one !== reading);
  fill(byId("shadow-wrong"));
  save();
  tell();
  byId("take").focus({ preventScroll: true });
}

// --- handing in

const runsPath = () => path`/days/${opened.day.day}/sites/${opened.site.site}/runs`;

async function lookAtOther(refusal) {
  if (!["run_exists", "run_not_current"].includes(refusal.code)) return;
  try {
    exists = (await get(path`/days/${opened.day.day}/sites/${opened.site.site}/run`)).run;
    refused = null;
  } catch { /* the refusal itself stays to be read */ }
}

async function handIn() {
  if (run.pending === null || delivering) return;
  delivering = true;
  refused = null;
  tellSending();
  const answer = await deliver(run, ask, runsPath(), opened.code, { now_ms: now, compareClock, keep: save });
  delivering = false;
  if (answer instanceof Refusal) {
    refused = answer;
    await lookAtOther(answer);
  }
  await save();
  tell();
}

async function send(supersedes) {
  exists = null;
  request(run, supersedes);
  await save();
  handIn();
}

function tellSending() {
  const marks = run.readings.filter(({ struck }) => !struck);
  const ready = counted(run);
  const kept = countWord("play.on_phone", marks.length);
  const changed = !isSent(run);
  const at = run.sent === null ? "" : clockTime(run.sent.at_ms, zone());
  const state = delivering ? word("play.sending")
    : run.pending !== null ? word("play.waiting_network")
    : exists !== null ? word("play.exists", { count: exists.readings.length, time: clockTime(Date.parse(exists.submitted_utc), zone()) })
    : refused !== null ? refused.advice
    : run.sent === null ? word("play.nothing_sent")
    : changed ? word("play.sent_before", { time: at }) : word("play.sent_all", { time: at });
  fill(byId("sent"), kept, " ", h("strong", {}, state),
    ready.length < READINGS_MIN && marks.length > 0 && run.sent === null && [" ", word("play.send_few")],
    ready.length < marks.length && ready.length >= READINGS_MIN && [" ", word("play.send_missing")]);
  const may = ready.length >= READINGS_MIN && run.pending === null && !delivering && changed;
  fill(byId("send-buttons"),
    may && exists !== null && h("button", { type: "button", on: { click: () => send(exists.id) } }, word("play.replace")),
    may && exists === null && h("button", { type: "button", on: { click: () => send(run.sent?.run ?? null) } },
      run.sent === null ? word("play.send") : word("play.send_again")),
    run.pending !== null && !delivering && h("button", { type: "button", on: { click: handIn } }, word("house.again")));
}

function tellResult() {
  const { reduction } = run;
  const there = reduction !== null && reduction.noon_angle_deg !== null;
  byId("result").hidden = !there;
  if (!there) return;
  fill(byId("result-figure"), measured(Math.abs(reduction.noon_angle_deg), reduction.sigma_deg, "°"));
  byId("to-day").href = path`/days/${opened.day.day}/sites/${opened.site.site}/run`;
}

// What is to be done about a clock that is beyond the bound of the day.
function ruleWords({ applied_s, offset_s }) {
  if (applied_s !== 0) return word("play.clock_corrected");
  return [word("play.clock_kept"), " ", Math.abs(offset_s) > CLOCK_TOO_FAR_S ? word("play.clock_too_far")
    : run.readings.length === 0 && word("play.clock_set_right")];
}

// How far off a clock is: this phone's, or the one that a run is told by.
function clockWords({ offset_s }, wasSet) {
  const values = { span: span(Math.round(Math.abs(offset_s))) };
  if (wasSet) return offset_s > 0 ? word("play.clock_was_fast", values) : word("play.clock_was_slow", values);
  return offset_s > 0 ? word("play.clock_fast", values) : word("play.clock_slow", values);
}

function tellClock() {
  const told = clockOfRun(run, counted(run));
  const clock = told ?? clockOfStretch(run, run.clocks.length - 1);
  const check = clockCheck(clock);
  const off = clock !== null && Math.abs(clock.offset_s) >= CLOCK_NOTICED_S;
  const beyond = check?.beyond ?? false;
  const wasSet = told?.was_set ?? false;
  const doubt = told?.doubt ?? false;
  const says = off && [h("strong", {}, clockWords(clock, wasSet)), " ",
    check !== null && word("play.clock_bound", { span: span(check.bound_s) }), " "];
  byId("clock-off").hidden = !beyond && !wasSet && !doubt;
  fill(byId("clock-off"),
    wasSet && [word("play.clock_set"), " "], beyond && [says, ruleWords(check), " ", word("play.clock_shown"), " "],
    doubt && word("play.clock_doubt"));
  fill(byId("clock-state"), clock === null ? word("play.clock_unknown")
    : !clockFresh ? word("play.clock_stale")
    : beyond ? "" : off ? [says, word("play.clock_within")] : word("play.clock_good"));
}

function tell() {
  fill(byId("readings"), byTime(run).reverse().map(line));
  byId("none").hidden = run.readings.length > 0;
  tellCurve();
  tellThumb();
  tellSending();
  tellResult();
  tellClock();
  tick();
}

function goOn() {
  if (run.gnomon === null) {
    stand();
    return;
  }
  show("measure");
  tell();
  handIn();
  compareClock();
}

// Measures the device's clock; whether the server was reached.
async function compare() {
  if (opened === null) return false;
  try {
    let before, measured;
    do { // again where the clock was set meanwhile
      watchClock();
      before = jumps;
      measured = await measureClock();
      watchClock();
    } while (jumps !== before);
    noteClock(run, measured);
    if (opened.day.clock_bound_s === undefined) { // opened before days had a rule for clocks
      opened.day = await get(path`/days/${opened.day.day}`);
      await keepClass(opened);
    }
  } catch { // no network: the clock stays as it was last known
    return false;
  }
  clockFresh = true;
  await save();
  if (!byId("measure").hidden && editing === null) tell();
  return true;
}

let comparing = null;
function compareClock() {
  comparing ??= compare().finally(() => { comparing = null; });
  return comparing;
}

// Another window of this phone may have gone on meanwhile: what is kept counts.
async function wake() {
  if (document.hidden || opened === null) return;
  if (!delivering && editing === null && waiting() === undefined) {
    run = (await keptRun(opened)) ?? run;
    if (!byId("measure").hidden) tell();
  }
  compareClock();
  handIn();
}

async function keepPage() {
  if (!("serviceWorker" in navigator) || !window.isSecureContext) {
    fill(byId("kept-state"), word("play.not_kept"));
    return;
  }
  await navigator.serviceWorker.register("/worker.js");
  await navigator.serviceWorker.ready;
  navigator.storage?.persist?.();
  fill(byId("kept-state"), word("play.kept"));
}

// Said at once or not at all: an hour later it would be untrue.
function saysSky({ target }) {
  attempt(() => saySky(opened.day.day, opened.site.site, opened.code, target.value), { where: byId("sky-said"), again: false })
    .then((said) => said !== undefined && fill(byId("sky-said"), word("sky.told")));
}

function prepareMeasure() {
  fill(byId("skies"), skyChoices());
  byId("sky").addEventListener("change", saysSky);
  byId("take").addEventListener("click", take);
  byId("length").addEventListener("submit", keepLength);
  byId("drop").addEventListener("click", dropMark);
  byId("change-gnomon").addEventListener("click", stand);
  byId("other-class").addEventListener("click", async () => {
    if (run.readings.length > 0 && !isSent(run) && !window.confirm(word("play.leave_unsent"))) return;
    await forgetClass();
    opened = null;
    await enter();
  });
  setInterval(tick, 250);
  setInterval(handIn, RETRY_MS);
  setInterval(compareClock, CLOCK_AGAIN_MS);
  window.addEventListener("online", wake);
  document.addEventListener("visibilitychange", wake);
}

begin({ ...words, ...skyWords, ...slips }, async () => {
  prepareStand();
  prepareMeasure();
  keepPage();
  loading.then((ready) => {
    science = ready;
    if (!byId("measure").hidden) tell();
  });
  opened = (await currentClass()) ?? null;
  // Another sheet's code opens another class, without losing what is kept of this one.
  const other = bare(location.hash);
  if (opened !== null && CODE.test(other) && bare(opened.code) !== other) opened = null;
  if (opened === null) {
    enter();
    return;
  }
  codeOfAddress();
  await takeUp();
  goOn();
});
