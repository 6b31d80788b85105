// SPDX-License-Identifier: MIT
// playground: a stage with measurement days, an invented school's readings as
// deploy/demo_day.c writes them down, and what a class does with a phone.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { build, Stage } from "./stage.mjs";

export const DAY = "2027-03-18"; // and its date
export const HOUR_MS = 3600000;
const SCHOOL = "salar";
export let stage, place, sheet;
let number = 0;

// The days as the API takes them.
export async function openPlayground(...days) {
  stage = await Stage.open();
  const sheets = join(stage.folder, "sheets");
  mkdirSync(sheets);
  execFileSync(join(build, "demo-day"), [sheets]);
  const [site, name, lat, lon, elev, zone] = readFileSync(join(sheets, "schools"), "utf8").split("\n")
    .map((line) => line.split("|")).find(([id]) => id === SCHOOL);
  place = { site, name, lat_deg: Number(lat), lon_deg: Number(lon), elev_m: Number(elev), zone };
  sheet = JSON.parse(readFileSync(join(sheets, `${SCHOOL}.json`), "utf8"));
  for (const day of days) await stage.openDay(day);
}

// A school of its own for each test, at the same place.
export function newSchool(day = DAY) {
  number += 1;
  return stage.school({ ...place, site: `${SCHOOL}-${number}`, name: `${place.name} ${number}` }, day);
}

// The server's time, as the phone hears it.
export const tellTime = (page) => page.context().route("**/api/v1/time", async (route) => {
  page.asking = (page.asking ?? 0) + 1;
  const ms = (await page.evaluate(() => Date.now()).catch(() => NaN)) - page.skew_ms;
  if (!Number.isNaN(ms)) await route.fulfill({ status: 200, json: { utc: new Date(ms).toISOString() } });
  page.asking -= 1;
  page.asked = (page.asked ?? 0) + 1;
});

// Until the page has asked for the time as often as it wants to: a clock that is set again
// before was never measured as it was.
export async function clockMeasured(page) {
  for (let seen = -1; seen !== page.asked || page.asking > 0;) {
    seen = page.asked;
    await page.waitForTimeout(200);
  }
}

// A phone whose clock is fast by skew_ms. The server's time is made to go along.
export async function phone({ skew_ms = 0, at = sheet.readings[0].time, ...options } = {}) {
  const page = await stage.window({ timezoneId: place.zone, ...options });
  await page.clock.install({ time: Date.parse(at) + skew_ms });
  page.skew_ms = skew_ms;
  await tellTime(page);
  return page;
}

export async function enter(page, school, day = DAY) {
  await page.goto("/play");
  await page.getByLabel("Class code").fill(school.class_code);
  await page.locator("#day option").first().waitFor({ state: "attached" });
  await page.locator("#day").evaluate((field, value) => { field.value = value; }, day);
  await page.getByRole("button", { name: "Open" }).click();
  const fields = page.locator("#parts input");
  await fields.first().waitFor();
  for (const [i, { length_mm }] of sheet.gnomon.parts.entries()) {
    if (i > 0) await page.getByRole("button", { name: "Add a part" }).click();
    await fields.nth(i).fill(String(length_mm));
  }
  await page.locator(`input[value=${sheet.gnomon.edge}]`).check();
}

export async function begin(page, school, day = DAY, says = "clock") {
  await enter(page, school, day);
  await page.getByRole("button", { name: "Go and measure" }).click();
  await page.locator("#clock-state, #clock-off").filter({ hasText: says }).first().waitFor();
}

export async function mark(page, reading) {
  await page.clock.setSystemTime(Date.parse(reading.time) + page.skew_ms);
  await page.getByRole("button", { name: "Mark now" }).click();
}

export async function pin(page, reading) {
  await mark(page, reading);
  await page.locator("#shadow").fill(String(reading.shadow_mm));
  await page.getByRole("button", { name: "Keep" }).click();
}

export const state = (page) => page.locator("#sent");
export const pins = (page) => page.locator("#curve .pin").count();
export const handedIn = (school, day = DAY) => stage.api("GET", `/days/${day}/sites/${school.site.site}/run`);

// Times as the phone told them, which was fast by skew_ms, and how far it was off.
export function holdsTimes(run, readings, within_ms, skew_ms = 0) {
  assert.equal(run.readings.length, readings.length);
  assert.ok(Math.abs(run.clock.offset_s - skew_ms / 1000) < 1, `${run.clock.offset_s} s`);
  assert.ok(run.clock.sigma_s > 0 && run.clock.sigma_s < 1, `± ${run.clock.sigma_s} s`);
  assert.equal(run.clock_sigma_s, 1);
  readings.forEach(({ time, shadow_mm }, i) => {
    assert.equal(run.readings[i].shadow_mm, shadow_mm);
    const off = Date.parse(run.readings[i].time) - skew_ms - Date.parse(time);
    assert.ok(Math.abs(off) <= within_ms, `${off} ms off`);
  });
}
