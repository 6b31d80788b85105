// SPDX-License-Identifier: MIT
// One science: phone, server and client give the same figures for the same runs,
// to 1e-12.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { scienceOf } from "../../server/web/house/science.js";
import { build, Stage } from "./stage.mjs";

const DAY = "2027-03-18";
const CLOSE = 1e-12;
let stage, science, sun;
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
});
after(() => stage.close());

// A time (RFC 3339) as the API's programs read it; a number otherwise.
const seconds = (time) => Date.parse(time) / 1000;
const onPhone = (run) => ({ ...run, readings: run.readings.map((reading) => ({ ...reading, t_utc_s: seconds(reading.time) })) });

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
    const phone = science.reduce(shown, sun, onPhone(sent));
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
    const phone = science.reduce(place, sun, onPhone(single));
    same(phone, told.sites.find(({ site }) => site === place.site), place.site);
  }
});

test("what cannot be reduced has its name", () => {
  const [{ run, ...place }] = schools;
  const phone = (changed, at = place) => science.reduce(at, sun, onPhone({ ...run, ...changed }));
  assert.equal(phone({ readings: run.readings.slice(0, 2) }).status, "too_few_readings");
  assert.equal(phone({}, { ...place, lat_deg: 89 }).noon_status, "sun_too_low");
  const { status, run_slip, noon_angle_deg } = phone({ readings: run.readings.map((reading) => ({ ...reading, shadow_mm: reading.shadow_mm * 10 })) });
  assert.deepEqual([status, run_slip, noon_angle_deg], ["implausible", "run_tenfold", null]);
  assert.equal(science.curve_mm(seconds(run.readings[0].time)), null);
});

test("figures were compared", () => assert.ok(compared > 1000, String(compared)));
