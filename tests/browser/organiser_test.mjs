// SPDX-License-Identifier: MIT
// The organiser's desk: in by name and password, the days, the queue, import with its
// preview, the log; on a phone's width and on a desk's.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { DAY, smallCountry } from "./country.mjs";
import { Stage, WIDTHS } from "./stage.mjs";

const PASSWORD = "noon lines cross quietly";
const UNKNOWN = /401/; // a browser says so when nobody is logged in yet
const stage = await Stage.open();
test.after(() => stage.close());
await smallCountry(stage);
await stage.api("POST", "/seasons", { key: stage.organiser, body: { name: "Condor Season" } });
await stage.api("POST", "/organisers", { key: stage.organiser, body: { name: "condor-office", password: PASSWORD } });

async function logIn(page, address) {
  await page.goto(address);
  await page.fill('#door input[name="name"]', "condor-office");
  await page.fill('#door input[name="password"]', PASSWORD);
  await page.keyboard.press("Enter");
  await page.waitForSelector("#inside:not([hidden]) h1");
}

test("a wrong password is told, and nothing is let out", async () => {
  const page = await stage.window();
  await page.goto("/organiser");
  await page.fill('#door input[name="name"]', "condor-office");
  await page.fill('#door input[name="password"]', "not the password");
  await page.keyboard.press("Enter");
  await page.locator("#door .notice", { hasText: "do not belong together" }).waitFor();
  await stage.look(page, "organiser-door");
  stage.quiet(UNKNOWN);
  await page.context().close();
});

for (const width of WIDTHS)
  test(`the desk at ${width} px: days, seasons, in and out`, async () => {
    const page = await stage.window({ width });
    await logIn(page, "/organiser");
    await page.waitForSelector("#days td");
    // No script can read the session.
    assert.equal(await page.evaluate(() => document.cookie), "");
    await page.click("#seasons ~ details summary");
    await page.fill('#open-season input[name="name"]', `Season ${width}`);
    await page.check('#open-season input[name="approval"]');
    await page.click("#open-season button");
    await page.waitForFunction((name) => document.getElementById("seasons").textContent.includes(name), `Season ${width}`);
    await page.click("#days ~ details summary");
    await page.fill('#open-day input[name="date"]', "2031-03-20");
    await page.fill('#open-day input[name="name"]', `Far Noon ${width}`);
    await page.fill('#open-day input[name="min_separation_km"]', "9999999");
    await page.click("#open-day button");
    await page.waitForSelector('#open-day input[name="min_separation_km"][aria-invalid]');
    await page.fill('#open-day input[name="min_separation_km"]', "150");
    await page.fill('#open-day input[name="date"]', width === 360 ? "2031-03-21" : "2031-03-22");
    await page.click("#open-day button");
    await page.waitForFunction((name) => document.getElementById("days").textContent.includes(name), `Far Noon ${width}`);
    await stage.look(page, "organiser");
    await page.click("#who button");
    await page.waitForSelector("#door form");
    stage.quiet(UNKNOWN, /422/);
    await page.context().close();
  });

for (const width of WIDTHS)
  test(`a day at the desk at ${width} px: sky, queue, states`, async () => {
    const page = await stage.window({ width });
    await logIn(page, `/organiser/days/${DAY}`);
    await page.waitForSelector("#review .review-item");
    await page.click("#sky summary");
    await page.waitForSelector("#sky td");
    await stage.look(page, "organiser-day");
    const { runs } = await stage.api("GET", `/days/${DAY}/review`, { key: stage.organiser });
    const { site, run } = runs.find(({ status }) => status === "open");
    const item = page.locator(`#review > ul > .review-item:has(h3 a[href$="/${site}/run"])`);
    assert.match(await item.locator("h3").textContent(), /School|Primary/); // by its name
    await item.locator("summary").click();
    await item.locator("select").selectOption(width === 360 ? "exclude" : "accept");
    await item.locator('input[name="reason"]').fill("The sheet says that the plate was moved.");
    await item.locator("button").click();
    await item.waitFor({ state: "detached" });
    const { reviews } = await stage.api("GET", `/runs/${run}/reviews`, { key: stage.organiser });
    assert.equal(reviews.at(-1).verdict, width === 360 ? "exclude" : "accept");
    const part = (words) => page.locator("#change details", { hasText: words }).first();
    await part("Choose partners").locator("summary").click();
    await part("Choose partners").locator("button").click();
    await page.waitForFunction(() => /Pairs: [1-9]/.test(document.getElementById("change").textContent));
    for (const [state, reason] of [["closed", ""], ["announced", "A school was late."]]) {
      await part("Change its state").locator("summary").click();
      await part("Change its state").locator("select").selectOption(state);
      await part("Change its state").locator('input[name="reason"]').fill(reason);
      await part("Change its state").locator("button").click();
      await page.waitForFunction((now) => document.getElementById("day-state").textContent.includes(now), state);
    }
    await page.waitForFunction(() => document.getElementById("history").textContent.includes("A school was late"));
    assert.match(await page.textContent("#history tbody tr:first-child"), /opened for 18 Mar 2027/);
    stage.quiet(UNKNOWN);
    await page.context().close();
  });

test("why a run is in the queue is said in the reader's language, with its figures", async () => {
  const school = await stage.school({ site: "late-clock", name: "Late Clock School", lat_deg: -32.92, lon_deg: -68.79, elev_m: 790 }, DAY);
  const run = { ...JSON.parse(readFileSync(`${stage.folder}/sheets/acequia.json`, "utf8")), clock: { offset_s: -95, sigma_s: 0.2 } };
  await stage.api("POST", `/days/${DAY}/sites/late-clock/runs`, { key: school.class_code, body: run, headers: { "Idempotency-Key": "a-run-of-a-late-clock" } });
  const { runs } = await stage.api("GET", `/days/${DAY}/review`, { key: stage.organiser });
  const flags = runs.flatMap((item) => item.flags);
  assert.ok(flags.some(({ flag }) => flag === "clock_off") && flags.some(({ flag }) => flag === "readings_left_out"));
  for (const [locale, sentence] of [["es-AR", /el reloj de la clase iba 1.min 35.seg\. atrasado; la jornada admite 15.seg\. de desvío/], ["en-GB", /clock was measured 1.min 35.secs slow; the day allows 15.secs/]]) {
    const page = await stage.window({ locale, width: locale === "en-GB" ? 1280 : 360 });
    await logIn(page, `/organiser/days/${DAY}`);
    await page.waitForSelector("#review .review-item");
    const told = await page.textContent("#review");
    assert.match(told, sentence);
    assert.doesNotMatch(told, /undefined|NaN|null/);
    if (locale === "es-AR") for (const { words } of flags) assert.ok(!told.includes(words), words);
    await stage.look(page, `organiser-flags-${locale}`);
    stage.quiet(UNKNOWN);
    await page.context().close();
  }
});

test("the school sees what is asked, and answers", async () => {
  const school = await stage.school({ site: "asked-school", name: "Asked School", lat_deg: -32.92, lon_deg: -68.78, elev_m: 790 }, DAY);
  const run = readFileSync(`${stage.folder}/sheets/acequia.json`, "utf8");
  const { run: { id } } = await stage.api("POST", `/days/${DAY}/sites/asked-school/runs`, { key: school.class_code, body: run, headers: { "Idempotency-Key": "a-run-to-ask-about" } });
  await stage.api("POST", `/runs/${id}/reviews`, { key: stage.organiser, body: { verdict: "ask", reason: "Was the plate level?" } });
  const page = await stage.window();
  await page.goto(`/days/${DAY}/sites/asked-school/run`);
  await page.click("#answering summary");
  // Questions are for the school alone.
  assert.doesNotMatch(await page.textContent("#run-page"), /Was the plate level/);
  await page.fill('#answering input[name="key"]', school.school_key);
  await page.keyboard.press("Enter");
  await page.waitForSelector("#answering .reasons li");
  await page.fill('#answering input[name="reason"]', "Yes, both ways.");
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => document.querySelectorAll("#answering .reasons li").length === 2);
  await stage.look(page, "answering");
  const { reviews } = await stage.api("GET", `/runs/${id}/reviews`, { key: stage.organiser });
  assert.deepEqual(reviews.map(({ verdict, by }) => [verdict, by]), [["ask", "organiser"], ["answer", "school"]]);
  stage.quiet();
  await page.context().close();
});

for (const width of WIDTHS)
  test(`import at ${width} px: mistakes by row and column, then all or nothing`, async () => {
    const page = await stage.window({ width });
    await logIn(page, "/organiser/import");
    await page.waitForSelector("#paste");
    await page.fill("#paste", "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge,colour\nruda,-30.5,-64.1,400,1000,umbra,red\nruda,-99,-64.2,400,1000,top,blue\n");
    await page.waitForSelector("#preview mark");
    const faults = await page.$$eval("#preview tbody tr", (rows) => rows.slice(0, 4).map((row) => `${row.cells[0].textContent} ${row.cells[1].textContent}`));
    assert.deepEqual(faults, ["1 colour", "3 lat_deg", "3 edge", "3 site"]);
    assert.ok(await page.isDisabled("#send"));
    await stage.look(page, "organiser-import");
    // What only the service can know comes back with its place.
    await page.fill("#paste", `site,lat_deg,lon_deg,elev_m,gnomon_mm,edge,zone\nruda-${width},-30.5,-64.1,400,1000,umbra,Mars/Olympus\n`);
    await page.click("#send");
    await page.waitForSelector("#answer strong");
    assert.match(await page.textContent("#answer strong"), /row 2, zone/);
    await page.fill("#paste", `site;lat_deg;lon_deg;elev_m;gnomon_mm;edge\nruda-${width};-30,5;-64,1;400;1000;umbra\n`);
    await page.click("#send");
    await page.waitForSelector("#answer a[download]");
    assert.match(await page.textContent("#answer tbody"), new RegExp(`ruda-${width}`));
    await page.selectOption("#kind", "invitations");
    await page.fill("#paste", `name,contact\nRuda School ${width},\nRuda School ${width},\n`);
    await page.click("#send");
    await page.waitForSelector("#answer .flag strong, #answer tbody td");
    assert.match(await page.textContent("#answer"), /row 3/);
    await page.fill("#paste", `name,contact\nRuda School ${width},\n`);
    await page.click("#send");
    await page.waitForSelector("#answer a[download]");
    stage.quiet(UNKNOWN, /422/);
    await page.context().close();
  });

for (const width of WIDTHS)
  test(`the log at ${width} px`, async () => {
    const page = await stage.window({ width });
    await logIn(page, "/organiser/audit");
    await page.waitForSelector("#lines td");
    assert.match(await page.textContent("#lines"), /condor-office/);
    assert.match(await page.textContent("#lines"), /school registered/);
    await stage.look(page, "organiser-audit");
    stage.quiet(UNKNOWN);
    await page.context().close();
  });
