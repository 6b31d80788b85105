// SPDX-License-Identifier: MIT
// One science: phone, server and client give the same figures for the same runs,
// to 1e-12.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { forScience } from "../../server/web/house/run.js";
import { scienceOf } from "../../server/web/house/science.js";
import { build, Stage } from "./stage.mjs";

const DAY = "2027-03-18";
const CORRECTED = "corrected"; // the same date; times of clocks that are off are put right
const CLOSE = 1e-12;
let stage, science, sun;
const rules = {}; // the days
let schools = []; // {site, name, lat_deg, lon_deg, elev_m, run}

before(async () => {
  stage = await Stage.open();
  science = await scienceOf(readFileSync(join(build, "gen/science.wasm")));
  sun = await stage.api("GET", `/suns/${DAY}`);
  const sheets = join(stage.folder, "sheets");
  mkdirSync(sheets);
  execFileSync(join(build, "demo-day"), [sheets]);
  schools = readFileSync(join(sheets, "schools"), "utf8").trim().split("\n").map((line) => line.split("|"))
    .filter((fields) => fields.at(-1) === "run")
    .map(([site, name, lat, lon, elev]) => ({
      site, name, lat_deg: Number(lat), lon_deg: Number(lon), elev_m: Number(elev),
      run: JSON.parse(readFileSync(join(sheets, `${site}.json`), "utf8")),
    }));
  assert.ok(schools.length > 15);
  await stage.openDay({ date: DAY });
  await stage.openDay({ day: CORRECTED, date: DAY, clock_bound_s: 5, clock_correct: true });
  for (const day of [DAY, CORRECTED]) rules[day] = await stage.api("GET", `/days/${day}`);
});
after(() => stage.close());

// A time (RFC 3339) as the API's programs read it; a number otherwise.
const seconds = (time) => Date.parse(time) / 1000;

let compared = 0;
function close(one, other, what) {
  if (one === null || other === null) return assert.equal(one, other, what);
  compared += 1;
  return assert.ok(Math.abs(one - other) <= CLOSE * Math.max(1, Math.abs(one)), `${what}: ${one} ${other}`);
}

const FIGURES = ["noon_angle_deg", "sigma_deg", "declination_deg", "clock_offset_s", "clock_offset_sigma_s", "scatter_deg", "chi2", "dof", "used"];

function same(phone, told, site) {
  assert.equal(phone.status, told.status, site);
  assert.equal(phone.method, told.method, site);
  assert.equal(phone.run_slip, told.run_slip, site);
  assert.deepEqual(phone.clock, told.clock, site);
  for (const figure of FIGURES) close(phone[figure], told[figure], `${site} ${figure}`);
  for (const [part, value] of Object.entries(told.budget)) close(phone.budget[part], value, `${site} ${part}`);
  assert.deepEqual(Object.keys(phone.estimates), Object.keys(told.estimates));
  for (const [name, estimate] of Object.entries(told.estimates)) {
    assert.equal(phone.estimates[name] === null, estimate === null, `${site} ${name}`);
    if (estimate !== null) for (const figure of ["noon_angle_deg", "sigma_deg"]) close(phone.estimates[name][figure], estimate[figure], `${site} ${name} ${figure}`);
  }
  assert.equal(phone.left_out.length, told.left_out.length, site);
  told.left_out.forEach((left, i) => {
    const mine = phone.left_out[i];
    assert.deepEqual([mine.reading, mine.reason, mine.also], [left.reading, left.reason, left.also], site);
    for (const figure of ["residual_deg", "residual_sigma"]) close(mine[figure], left[figure], `${site} ${figure}`);
    // Told to the millionth of a millimetre.
    close(mine.instead_mm === null ? null : Number(mine.instead_mm.toFixed(6)), left.instead_mm, `${site} instead_mm`);
  });
}

test("phone and server: heights of several parts, edges, slips, measured air", async () => {
  let slips = 0;
  for (const [i, { run, ...place }] of schools.entries()) {
    // One lets its position out rounded; the phone then has no other either.
    const school = await stage.school(i === 1 ? { ...place, position_decimals: 2 } : place, DAY);
    const shown = await stage.api("GET", `/sites/${place.site}`);
    const sent = i % 3 === 0 ? { ...run, pressure_hpa: 871.5, temperature_c: 23.5, clock_sigma_s: 2, tilt_sigma_deg: 0.05 } : run;
    const { reduction } = await stage.api("POST", `/days/${DAY}/sites/${place.site}/runs`,
      { key: school.class_code, body: sent, headers: { "Idempotency-Key": `science-${place.site}` } });
    const phone = science.reduce(shown, sun, forScience(sent), rules[DAY]);
    same(phone, reduction, place.site);
    slips += phone.left_out.length;
    // Steps add up, and the curve goes through where the server says a stray should lie.
    for (const step of phone.steps) close(step.shadow_deg + step.edge_deg + step.air_deg + step.parallax_deg, step.zenith_deg, "steps");
    for (const left of phone.left_out)
      assert.ok(Math.abs(science.curve_mm(seconds(run.readings[left.reading].time)) - left.instead_mm) < 3, place.site);
  }
  assert.ok(slips > 0);
});

test("phone and client: the same runs from two spreadsheets, without a server", () => {
  const sheet = (name, head, rows) => {
    const file = join(stage.folder, name);
    writeFileSync(file, `${head}\n${rows.map((row) => row.join(",")).join("\n")}\n`);
    return file;
  };
  const height = ({ gnomon }) => gnomon.parts.reduce((sum, part) => sum + part.length_mm, 0);
  const sites = sheet("sites.csv", "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge",
    schools.map(({ site, lat_deg, lon_deg, elev_m, run }) => [site, lat_deg, lon_deg, elev_m, height(run), run.gnomon.edge]));
  const readings = sheet("readings.csv", "site,utc,shadow_mm",
    schools.flatMap(({ site, run }) => run.readings.map(({ time, shadow_mm }) => [site, time, shadow_mm])));
  const told = JSON.parse(execFileSync(join(build, "noonarc"), ["reduce", sites, readings, "--json"], { encoding: "utf8", cwd: stage.folder }));
  for (const { run, ...place } of schools) {
    const single = { gnomon: { parts: [{ length_mm: height(run) }], edge: run.gnomon.edge }, readings: run.readings.map(({ time, shadow_mm }) => ({ time, shadow_mm })) };
    const phone = science.reduce(place, sun, forScience(single), rules[DAY]);
    same(phone, told.sites.find(({ site }) => site === place.site), place.site);
  }
});

// The very run as a clock would have told it that was fast by so much.
const toldBy = (run, offset_s) => ({
  ...run, clock_sigma_s: 1, clock: { offset_s, sigma_s: 0.08 },
  readings: run.readings.map((reading) => ({ ...reading, time: new Date(Date.parse(reading.time) + offset_s * 1000).toISOString() })),
});

test("phone, server and client: clocks within and beyond the bound, kept and corrected", async () => {
  const seen = { beyond: 0, applied: 0 };
  for (const [i, offset_s] of [0.4, -4.9, 5.1, -95, 3600, -3600, 5 * 3600, -40 * 3600, -2e9].entries()) {
    const { run, ...place } = schools[i];
    const school = await stage.api("POST", `/sites/${place.site}/class_code`, { key: stage.organiser });
    const sent = toldBy(run, offset_s);
    for (const day of [DAY, CORRECTED]) {
      if (day === DAY && Math.abs(offset_s) > 3600) continue; // refused: of another time of day
      await stage.api("PUT", `/days/${day}/sites/${place.site}`, { key: stage.organiser });
      const shown = await stage.api("GET", `/sites/${place.site}`);
      const current = await stage.api("GET", `/days/${day}/sites/${place.site}/run`).catch(() => null);
      const { reduction } = await stage.api("POST", `/days/${day}/sites/${place.site}/runs`,
        { key: school.class_code, body: { ...sent, supersedes: current?.run.id ?? null }, headers: { "Idempotency-Key": `clock-${day}-${place.site}` } });
      const phone = science.reduce(shown, sun, forScience(sent), rules[day]);
      const what = `${place.site} ${day} ${offset_s}`;
      same(phone, reduction, what);
      assert.deepEqual(science.clockCheck(sent.clock, rules[day]), reduction.clock);
      assert.equal(reduction.clock.beyond, Math.abs(offset_s) > rules[day].clock_bound_s, what);
      seen.beyond += reduction.clock.beyond;
      seen.applied += reduction.clock.applied_s !== 0;
      // Taken off, it is the run of a right clock again.
      if (reduction.clock.applied_s !== 0) {
        const right = science.reduce(shown, sun, forScience(toldBy(run, 0)), rules[day]);
        assert.ok(Math.abs(right.noon_angle_deg - reduction.noon_angle_deg) < 1e-6, what);
        assert.ok(Math.abs(right.clock_offset_s + offset_s - reduction.clock_offset_s) < 1e-3, what);
      }
      // Its steps too, and the curve goes by the clock of the run.
      for (const step of phone.steps) close(step.shadow_deg + step.edge_deg + step.air_deg + step.parallax_deg, step.zenith_deg, "steps");
      for (const left of phone.left_out)
        assert.ok(left.instead_mm === null || Math.abs(science.curve_mm(seconds(sent.readings[left.reading].time)) - left.instead_mm) < 3, what);
      if (shown.position_decimals !== null) continue; // which a client has no option for
      const file = join(stage.folder, "run.json");
      writeFileSync(file, JSON.stringify(sent));
      const rule = ["--clock-bound", String(rules[day].clock_bound_s), ...(rules[day].clock_correct ? ["--clock-correct"] : [])];
      const client = JSON.parse(execFileSync(join(build, "noonarc"), ["noon", "--lat", String(place.lat_deg), "--lon", String(place.lon_deg),
        "--elev", String(place.elev_m), "--file", file, ...rule, "--json"], { encoding: "utf8", cwd: stage.folder }));
      same(phone, client, what);
    }
  }
  assert.ok(seen.beyond >= 10 && seen.applied >= 7, JSON.stringify(seen));
});

test("a day's clocks stand in its edition, and who takes it home finds the same", async () => {
  const { edition } = await stage.api("POST", `/days/${CORRECTED}/editions`, { key: stage.organiser, body: {} });
  const file = join(stage.folder, "edition.json");
  const bytes = await (await fetch(`${stage.base}/api/v1/editions/${edition}/bundle`)).text();
  writeFileSync(file, bytes);
  assert.match(execFileSync(join(build, "noonarc"), ["verify", file], { encoding: "utf8", cwd: stage.folder }), /byte for byte/);
  assert.ok(JSON.parse(bytes).records.runs.some(({ sent }) => Math.abs(sent.clock?.offset_s ?? 0) > 1e9));
});

test("what cannot be reduced has its name", () => {
  const [{ run, ...place }] = schools;
  const phone = (changed, at = place) => science.reduce(at, sun, forScience({ ...run, ...changed }), rules[DAY]);
  assert.equal(phone({ readings: run.readings.slice(0, 2) }).status, "too_few_readings");
  assert.equal(phone({}, { ...place, lat_deg: 89 }).noon_status, "sun_too_low");
  const { status, run_slip, noon_angle_deg } = phone({ readings: run.readings.map((reading) => ({ ...reading, shadow_mm: reading.shadow_mm * 10 })) });
  assert.deepEqual([status, run_slip, noon_angle_deg], ["implausible", "run_tenfold", null]);
  assert.equal(science.curve_mm(seconds(run.readings[0].time)), null);
});

test("figures were compared", () => assert.ok(compared > 1000, String(compared)));
