// SPDX-License-Identifier: MIT
// country: days to look at. A small one from the demo's own sheets, and a large one of
// thousands of schools whose shadows are made here from the Sun that the API tells:
// plumbing for pictures, no figure of the science is judged with it.
import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";

import { build } from "./stage.mjs";

export const DAY = "2027-03-18";

// The demo's schools with what their classes wrote down; one sat under clouds.
export async function smallCountry(stage) {
  const sheets = join(stage.folder, "sheets");
  mkdirSync(sheets);
  execFileSync(join(build, "demo-day"), [sheets]);
  await stage.openDay({ date: DAY, name: "Condor Noon", lon_tolerance_deg: 1, min_separation_km: 200 });
  const schools = [];
  for (const line of readFileSync(join(sheets, "schools"), "utf8").trim().split("\n")) {
    const [site, name, lat, lon, elev, zone] = line.split("|");
    const school = await stage.school({ site, name, lat_deg: Number(lat), lon_deg: Number(lon), elev_m: Number(elev), zone }, DAY);
    const sheet = join(sheets, `${site}.json`);
    if (existsSync(sheet))
      await stage.api("POST", `/days/${DAY}/sites/${site}/runs`, {
        key: school.class_code, body: readFileSync(sheet, "utf8"), headers: { "Idempotency-Key": `first-run-of-${site}` },
      });
    schools.push(school);
  }
  return schools;
}

// A seeded generator (mulberry32), the same everywhere.
function seeded(seed) {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

function series(coefficients, x) {
  let [one, two] = [0, 0];
  for (const coefficient of [...coefficients].reverse()) [one, two] = [2 * x * one - two + coefficient, one];
  return one - x * two;
}

const RAD = Math.PI / 180;
function shadowMm(sun, lat_deg, lon_deg, t_s) {
  const x = (t_s - sun.centre_utc_s) / sun.half_span_s;
  const declination = series(sun.declination_deg, x) * RAD;
  const hour = ((t_s % 86400) + series(sun.equation_s, x) + lon_deg * 240 - 43200) / 240 * RAD;
  const cosine = Math.sin(lat_deg * RAD) * Math.sin(declination) + Math.cos(lat_deg * RAD) * Math.cos(declination) * Math.cos(hour);
  return 1000 * Math.tan(Math.acos(cosine));
}

const BATCH = 2000; // schools a spreadsheet of readings

// Schools {site, lat, lon} are registered and hand in readings of a day that is open.
export async function measure(stage, { day, date, schools, random = seeded(7) }) {
  const sun = await stage.api("GET", `/suns/${date}`);
  const send = (path, head, lines) => stage.api("POST", path, { key: stage.organiser, type: "text/csv", body: `${head}\n${lines.join("\n")}\n` });
  await send("/sites.csv", "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge", schools.map(({ site, lat, lon }) => `${site},${lat.toFixed(5)},${lon.toFixed(5)},0,1000,centre`));
  const noon = Date.parse(`${date}T12:00:00Z`) / 1000;
  for (let from = 0; from < schools.length; from += BATCH)
    await send(`/days/${day}/readings.csv`, "site,utc,shadow_mm", schools.slice(from, from + BATCH).flatMap(({ site, lat, lon }) => [-24, -12, 0, 12, 24].map((minutes) => {
      const t = Math.round(noon - lon * 240 + minutes * 60);
      const error = 3 * (random() + random() + random() - 1.5);
      return `${site},${new Date(t * 1000).toISOString().slice(0, 19)}Z,${(shadowMm(sun, lat, lon, t) + error).toFixed(0)}`;
    })));
}

// Schools over 40 degrees of longitude, with a tolerance that makes about `pairs`.
export async function largeCountry(stage, { sites, pairs, date = "2027-03-22" }) {
  const random = seeded(7);
  const width_deg = 40;
  const tolerance = (pairs * width_deg) / sites ** 2;
  await stage.openDay({ date, name: "A large country", lon_tolerance_deg: Math.max(Number(tolerance.toFixed(3)), 0.01), min_separation_km: 50 });
  const schools = Array.from({ length: sites }, (_, i) => ({ site: `school-${i}`, lat: 20 + 35 * random(), lon: 60 + width_deg * random() }));
  await measure(stage, { day: date, date, schools, random });
  return date;
}
