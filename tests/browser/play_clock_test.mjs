// SPDX-License-Identifier: MIT
// The playground on a phone whose clock is wrong, or is set while the class measures:
// what is shown is right, what is sent is what the phone told, and the day's rule does
// the rest.
import assert from "node:assert/strict";
import { after, afterEach, before, test } from "node:test";
import { begin, clockMeasured, DAY, handedIn, holdsTimes, HOUR_MS, newSchool, openPlayground, phone, pin, place, sheet, stage, state, tellTime } from "./playground.mjs";

const KEPT = "kept";
const CORRECTED = "corrected";

before(() => openPlayground({ day: KEPT, date: DAY }, { day: CORRECTED, date: DAY, clock_correct: true }));
after(() => stage.close());
afterEach(() => stage.quiet(/ERR_INTERNET_DISCONNECTED/));

// The figure shown on the phone, as a number.
const figure = async (page, id) => Number((await page.locator(id).textContent()).split(":").at(-1).split("±")[0].trim());

for (const [day, skew_ms] of [[KEPT, HOUR_MS], [KEPT, -HOUR_MS], [KEPT, 95000], [KEPT, 8000], [CORRECTED, HOUR_MS], [CORRECTED, -26 * HOUR_MS]])
  test(`a clock ${skew_ms / 1000} s fast on a day of which the rule is ${day}`, async () => {
    const school = await newSchool(day);
    const page = await phone({ skew_ms, width: day === CORRECTED ? 1280 : 360 });
    await begin(page, school, day);
    const beyond = Math.abs(skew_ms) > 15000;
    const words = page.locator(beyond ? "#clock-off" : "#clock-state");
    await words.filter({ hasText: skew_ms > 0 ? "fast" : "slow" }).waitFor();
    assert.match(await words.textContent(), beyond ? day === KEPT ? /they count like that/ : /is taken off every one/ : /is part of the ±/);
    // Noon is when it is, whatever the phone's clock says.
    const plan = await stage.api("GET", `/days/${day}/sites/${school.site.site}/plan`);
    const left_s = (Date.parse(plan.dates[0].transit_utc) - Date.parse(sheet.readings[0].time)) / 1000;
    const [minutes] = (await page.locator("#to-noon").textContent()).match(/\d+(?= min)/);
    assert.ok(Math.abs(Number(minutes) - left_s / 60) < 1.1, `${minutes} min, ${left_s} s`);
    if (skew_ms === HOUR_MS) await stage.look(page, `play-clock-${day}`);
    const readings = sheet.readings.slice(0, 6);
    for (const reading of readings) await pin(page, reading);
    // Times are shown as they were.
    const shown = await page.locator("#readings li span.figures span:first-child").allTextContents();
    const local = (time) => new Intl.DateTimeFormat("en-GB", { timeZone: place.zone, timeStyle: "medium" }).format(time);
    for (const [i, text] of shown.reverse().entries()) assert.ok([0, 1, 2].some((s) => text === local(Date.parse(readings[i].time) + s * 1000)), text);
    const before = await figure(page, "#so-far");
    await page.getByRole("button", { name: "Hand in", exact: true }).click();
    await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
    const { run, reduction } = await handedIn(school, day);
    holdsTimes(run, readings, 1000, skew_ms);
    assert.equal(reduction.run_slip, null);
    assert.equal(reduction.clock.beyond, beyond);
    assert.equal(reduction.clock.applied_s, beyond && day === CORRECTED ? run.clock.offset_s : 0);
    assert.equal(before, await figure(page, "#result-figure")); // the phone knew
    await stage.shut(page);
    if (!beyond) return;
    // The run's own page says the same, and works it out alike.
    const looker = await stage.window({ width: day === KEPT ? 360 : 1280 });
    await looker.goto(`/days/${day}/sites/${school.site.site}/run`);
    await looker.locator("#clock-off").filter({ hasText: day === KEPT ? "count as they came" : "taken off every time" }).waitFor();
    if (skew_ms === HOUR_MS) await stage.look(looker, `run-clock-${day}`);
    await stage.shut(looker);
  });

test("a clock set while the class measures, with and without a network", async () => {
  for (const offline of [false, true]) {
    const school = await newSchool(CORRECTED);
    const page = await phone({ skew_ms: HOUR_MS });
    await begin(page, school, CORRECTED);
    for (const reading of sheet.readings.slice(0, 3)) {
      await pin(page, reading);
      await clockMeasured(page);
    }
    if (offline) await page.context().setOffline(true);
    page.skew_ms = 0;
    for (const reading of sheet.readings.slice(3, 6)) {
      await pin(page, reading);
      if (!offline) await clockMeasured(page);
    }
    if (offline) await page.context().setOffline(false);
    await page.locator("#clock-off").filter({ hasText: "was set while you measured" }).waitFor();
    await page.locator("#clock-off").filter({ hasText: "That clock was" }).waitFor();
    if (!offline) await stage.look(page, "play-clock-set");
    await page.getByRole("button", { name: "Hand in", exact: true }).click();
    await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
    const { run, reduction } = await handedIn(school, CORRECTED);
    holdsTimes(run, sheet.readings.slice(0, 6), 1500, HOUR_MS); // all by the clock that was wrong
    assert.equal(reduction.clock.applied_s, run.clock.offset_s);
    assert.equal(reduction.left_out.length, 0);
    await stage.shut(page);
  }
});

test("readings from before the clock was ever compared go in with how far it was off", async () => {
  const school = await newSchool(CORRECTED);
  const page = await phone({ skew_ms: HOUR_MS });
  await page.context().route("**/api/v1/time", (route) => route.abort("connectionreset"));
  await begin(page, school, CORRECTED, "the times are this phone’s own");
  for (const reading of sheet.readings.slice(0, 4)) await pin(page, reading);
  await page.getByRole("button", { name: "Hand in", exact: true }).click();
  await state(page).filter({ hasText: "as soon as there is a network" }).waitFor();
  // Set right before there was a network, and the jump was seen.
  page.skew_ms = 0;
  await page.clock.setSystemTime(Date.parse(sheet.readings[3].time));
  await page.waitForTimeout(600);
  await page.context().unroute("**/api/v1/time");
  await tellTime(page);
  await page.getByRole("button", { name: "Try again" }).click();
  await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
  const { run } = await handedIn(school, CORRECTED);
  run.readings.forEach(({ time }, i) => assert.ok(Math.abs(Date.parse(time) - HOUR_MS - Date.parse(sheet.readings[i].time)) < 1500));
  // By as much as it was seen to be set; but nobody measured it.
  assert.ok(Math.abs(run.clock.offset_s - 3600) < 10, String(run.clock.offset_s));
  assert.ok(Math.abs(run.clock.sigma_s - 3600 / Math.sqrt(12)) < 10, String(run.clock.sigma_s));
  stage.quiet(/ERR_CONNECTION_RESET/);
  await stage.shut(page);
});
