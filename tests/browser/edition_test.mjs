// SPDX-License-Identifier: MIT
// An edition from the desk to its page: published, shown, corrected, checked.
import assert from "node:assert/strict";
import test from "node:test";

import { DAY, measure, smallCountry } from "./country.mjs";
import { Stage, WIDTHS } from "./stage.mjs";

const stage = await Stage.open();
test.after(() => stage.close());
await smallCountry(stage);
const digits = (text) => text.replace(/[\s\u202f]/g, "");

test("an edition is published at the desk and stands on its page", async () => {
  const page = await stage.window({ width: 1280 });
  await page.goto(`/organiser/days/${DAY}`);
  await page.click("#door summary");
  await page.fill('#door input[name="key"]', stage.organiser);
  await page.keyboard.press("Enter");
  const part = page.locator("#change details", { hasText: "Publish an edition" }).first();
  await part.locator("summary").click();
  await part.locator("button").click();
  await part.locator("a").waitFor();
  await part.locator("a").click();
  await page.waitForSelector("#inside td");
  const edition = await stage.api("GET", "/editions/1");
  assert.match(digits(await page.textContent("#figure")), new RegExp(`^${Math.round(edition.circumference_km)}±`));
  assert.match(await page.textContent("#sum"), new RegExp(edition.sha256));
  // 127.0.0.1 counts as safe, so that the browser counts along.
  await page.waitForFunction(() => document.getElementById("sum-checked").textContent.includes("same checksum"));
  stage.quiet(/401/);
  await page.context().close();
});

test("a correction leads both ways, and says what is different", async () => {
  const { runs } = await stage.api("GET", `/days/${DAY}/review`, { key: stage.organiser });
  await stage.api("POST", `/runs/${runs[0].run}/reviews`, { key: stage.organiser, body: { verdict: "exclude", reason: "The gnomon leant." } });
  await stage.api("POST", `/days/${DAY}/editions`, { key: stage.organiser, body: { reason: "A run was excluded." } });
  for (const width of WIDTHS) {
    const page = await stage.window({ width });
    await page.goto("/editions/1");
    await page.waitForSelector("#replaced:not([hidden])");
    await page.click("#replaced a");
    await page.waitForSelector("#changes li");
    assert.match(await page.textContent("#changes-part"), /A run was excluded/);
    assert.match(await page.textContent("#changes"), new RegExp(`Run ${runs[0].run} was left out: The gnomon leant\\.`));
    assert.match(await page.textContent("#changes"), /The circumference is .* km; before it was .* km\./);
    await stage.look(page, "edition");
    await page.goto("/editions");
    await page.waitForSelector("#editions td");
    assert.equal((await page.$$("#editions tbody tr")).length, 2);
    await stage.look(page, "editions");
    await page.goto(`/days/${DAY}`);
    await page.waitForSelector("#published a");
    assert.equal(await page.getAttribute("#published a", "href"), "/editions/2");
    await page.goto("/editions/99");
    await page.waitForSelector('#before a[href="/editions"]');
    stage.quiet(/404/);
    await page.context().close();
  }
  // In the other language from the same figures, and nothing of the service's own words.
  const page = await stage.window({ locale: "es-AR" });
  await page.goto("/editions/2");
  await page.waitForSelector("#changes li");
  const told = await page.textContent("#changes");
  assert.match(told, /La circunferencia es .* km; antes era .* km\./);
  assert.match(told, new RegExp(`Se excluyó la serie ${runs[0].run}: The gnomon leant\\.`));
  const { changes } = await stage.api("GET", "/editions/2/bundle");
  for (const { words } of changes) assert.ok(!told.includes(words), words);
  await stage.look(page, "edition-es");
  stage.quiet();
  await page.context().close();
});

for (const width of WIDTHS)
  test(`a season is published at the desk at ${width} px, and corrected`, async () => {
    const { season } = await stage.api("POST", "/seasons", { key: stage.organiser, body: { name: `Puna Season ${width}` } });
    const days = [["2027-09-21", "Puna Noon"], ["2027-09-22", "Second Puna Noon"]];
    for (const [date, name] of days) await stage.openDay({ day: `puna-${width}-${date}`, date, name, season, lon_tolerance_deg: 1 });
    await stage.openDay({ day: `puna-${width}-planned`, date: "2027-09-24", name: "Planned Noon", season, state: "planned" });
    const [first] = days.map(([date]) => `puna-${width}-${date}`);
    await measure(stage, { day: first, date: days[0][0], schools: [-20, -27, -31].map((lat, i) => ({ site: `puna-${width}-${i}`, lat, lon: -65 })) });
    await stage.api("POST", `/days/${first}/state`, { key: stage.organiser, body: { state: "closed" } });
    const page = await stage.window({ width });
    await page.goto("/organiser");
    await page.click("#door summary");
    await page.fill('#door input[name="key"]', stage.organiser);
    await page.keyboard.press("Enter");
    await page.locator("summary", { hasText: "Publish a season" }).click();
    const part = page.locator("#publish-season");
    await part.locator("select").selectOption(season);
    // What it will hold is seen before: the planned day is no part of it.
    assert.deepEqual((await part.locator("li").allTextContents()).map((line) => line.replace(/, .*?:/, ":")), ["Puna Noon: closed: nothing more comes in", "Second Puna Noon: not closed yet"]);
    await stage.look(page, "organiser-publish-season");
    await part.locator("button").click();
    await part.locator(".notice a").click();
    await page.waitForSelector("#inside td");
    const edition = await stage.api("GET", `/editions/${page.url().split("/").at(-1)}`);
    assert.deepEqual([edition.kind, edition.subject, edition.title], ["season", season, `Puna Season ${width}`]);
    const figure = Number(digits(await page.textContent("#figure")).split("±")[0]);
    assert.ok(Math.abs(figure - edition.circumference_km) < edition.sigma_km / 10, `${figure} ${edition.circumference_km}`);
    assert.equal(await page.textContent("#edition-title"), `Puna Season ${width}`);
    assert.deepEqual((await page.$$eval("#inside h3", (heads) => heads.map((head) => head.textContent.split(",")[0]))), ["Puna Noon", "Second Puna Noon"]);
    assert.match(await page.textContent("#inside"), /No readings of this day/);
    await stage.look(page, "edition-season");
    // The same again is refused with a word; a correction wants its reason and lists what it changes.
    await page.goto("/organiser");
    await page.locator("summary", { hasText: "Publish a season" }).click();
    await part.locator("select").selectOption(season);
    await part.locator('input[name="reason"]').fill("To see.");
    await part.locator("button").click();
    await part.locator(".notice", { hasText: "Nothing has changed" }).waitFor();
    const { runs } = await stage.api("GET", `/days/${first}/runs`);
    await stage.api("POST", `/runs/${runs[0].run.id}/reviews`, { key: stage.organiser, body: { verdict: "exclude", reason: "The plate had been moved." } });
    await part.locator('input[name="reason"]').fill("");
    await part.locator("button").click();
    await part.locator('input[name="reason"][aria-invalid]').waitFor();
    await part.locator('input[name="reason"]').fill("A run was excluded.");
    await part.locator("button").click();
    await part.locator(".notice a").click();
    await page.waitForSelector("#changes li");
    assert.match(await page.textContent("#changes-part"), /Corrects edition \d+: A run was excluded/);
    stage.quiet(/401/, /409/, /422/, /400/);
    await page.context().close();
  });
