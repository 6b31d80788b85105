// SPDX-License-Identifier: MIT
// The playground, as a class uses it: one phone, one thumb, no network for most of
// the time.
import assert from "node:assert/strict";
import { after, afterEach, before, test } from "node:test";
import { begin, clockMeasured, DAY, enter, handedIn, holdsTimes, mark, newSchool, openPlayground, phone, pin, pins, place, sheet, stage, state } from "./playground.mjs";
import { WIDTHS } from "./stage.mjs";

before(() => openPlayground({ date: DAY, name: "Condor Noon" }));
after(() => stage.close());
afterEach(() => stage.quiet(/ERR_INTERNET_DISCONNECTED/));

for (const width of WIDTHS)
  test(`a class measures and hands in, ${width} px`, async () => {
    const school = await newSchool();
    const page = await phone({ width });
    await page.goto("/play");
    await page.getByLabel("Class code").fill("K7QF2");
    await page.getByRole("button", { name: "Open" }).click();
    await page.getByText("A class code has ten letters and digits.").waitFor();
    await stage.look(page, "play-enter");
    await enter(page, school);
    const height = sheet.gnomon.parts.reduce((sum, { length_mm }) => sum + length_mm, 0);
    assert.match((await page.locator("#height").textContent()).replace(/\D/g, ""), new RegExp(`^${height}$`));
    await stage.look(page, "play-stand");
    await page.getByRole("button", { name: "Go and measure" }).click();
    await page.locator("#clock-state").filter({ hasText: "clock is right" }).waitFor();
    await stage.look(page, "play-empty");
    for (const [i, reading] of sheet.readings.entries()) {
      await pin(page, reading);
      assert.equal(await pins(page) + await page.locator("#curve .stray").count(), i + 1);
    }
    await mark(page, { time: new Date(Date.parse(sheet.readings.at(-1).time) + 60000).toISOString() });
    await page.locator("#shadow").fill("no");
    await page.getByRole("button", { name: "Keep" }).click();
    await page.getByText("Type the length in millimetres, from").waitFor();
    await stage.look(page, "play-length");
    await page.getByRole("button", { name: "No mark" }).click();
    await page.getByRole("button", { name: "Hand in", exact: true }).click();
    await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
    const { run, reduction } = await handedIn(school);
    holdsTimes(run, sheet.readings, 1000);
    // What the phone showed before, and what the server found.
    const shown = (await page.locator("#result-figure").textContent()).split("±")[0].trim();
    assert.ok(Math.abs(Number(shown) - Math.abs(reduction.noon_angle_deg)) < 0.006, shown);
    assert.ok((await page.locator("#so-far").textContent()).includes(shown));
    await page.getByLabel("the Sun comes and goes").check();
    await page.getByText("The others see it now.").waitFor();
    const board = await stage.api("GET", `/days/${DAY}/sky`);
    assert.equal(board.sites.find(({ site }) => site === school.site.site).sky, "broken");
    await stage.look(page, "play-sent");
    await stage.shut(page);
  });

test("no network from the first visit on: reload, closed tab, hand in later", async () => {
  const school = await newSchool();
  const page = await phone();
  await begin(page, school);
  await page.getByText("This page works without a network.").waitFor();
  await pin(page, sheet.readings[0]);
  await page.context().setOffline(true);
  await page.reload();
  await page.getByRole("button", { name: "Mark now" }).waitFor();
  assert.equal(await pins(page), 1);
  for (const reading of sheet.readings.slice(1, 3)) await pin(page, reading);
  // A mark without its length is asked for again after a reload.
  await mark(page, sheet.readings[3]);
  await page.reload();
  await page.locator("#shadow").fill(String(sheet.readings[3].shadow_mm));
  await page.getByRole("button", { name: "Keep" }).click();
  assert.equal(await pins(page), 4);
  await page.getByRole("button", { name: "Hand in", exact: true }).click();
  await state(page).filter({ hasText: "as soon as there is a network" }).waitFor();
  await stage.look(page, "play-offline");
  const context = page.context();
  await page.close();
  await context.setOffline(false);
  const again = await context.newPage();
  await again.goto("/play");
  await state(again).filter({ hasText: "All of it was handed in" }).waitFor();
  holdsTimes((await handedIn(school)).run, sheet.readings.slice(0, 4), 1000);
  const { runs } = await stage.api("GET", `/days/${DAY}/runs`);
  assert.equal(runs.filter(({ run }) => run.site === school.site.site).length, 1);
  await stage.shut(again);
});

test("a server that comes and goes is sent to once", async () => {
  const school = await newSchool();
  const page = await phone();
  await begin(page, school);
  for (const reading of sheet.readings.slice(0, 4)) await pin(page, reading);
  // The answer is lost on its way.
  let asked = 0;
  await page.context().route("**/runs", async (route) => {
    asked += 1;
    if (asked > 1) return route.continue();
    await route.fetch();
    return route.abort("connectionreset");
  });
  await page.getByRole("button", { name: "Hand in", exact: true }).click();
  await state(page).filter({ hasText: "as soon as there is a network" }).waitFor();
  await page.getByRole("button", { name: "Try again" }).click();
  await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
  const { run } = await handedIn(school);
  assert.equal(run.supersedes, null);
  stage.quiet(/ERR_CONNECTION_RESET/);
  await stage.shut(page);
});

test("slips are seen, mended and struck out; changes are handed in as a correction", async () => {
  const school = await newSchool();
  const page = await phone();
  await begin(page, school);
  const readings = sheet.readings.slice(0, 8);
  for (const [i, reading] of readings.entries())
    await pin(page, i === 5 ? { ...reading, shadow_mm: reading.shadow_mm * 10 } : reading);
  await page.locator("#warnings").filter({ hasText: "ten times too long" }).waitFor();
  assert.equal(await page.locator("#curve .stray").count(), 1);
  await stage.look(page, "play-slip");
  await page.locator("#readings button").nth(2).click(); // the newest stands first
  await page.locator("#edit-length").fill("x");
  await page.getByRole("button", { name: "Save" }).click();
  await page.getByText("Type the length in millimetres, from").waitFor();
  await stage.look(page, "play-edit");
  await page.locator("#edit-length").fill(String(readings[5].shadow_mm));
  await page.getByRole("button", { name: "Save" }).click();
  assert.equal(await page.locator("#warnings li").count(), 0);
  await page.getByRole("button", { name: "Hand in", exact: true }).click();
  await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
  await page.locator("#readings button").last().click();
  await page.getByRole("button", { name: "Strike out" }).click();
  await state(page).filter({ hasText: "not handed in yet" }).waitFor();
  await page.getByRole("button", { name: "Hand in the changes" }).click();
  await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
  const { run } = await handedIn(school);
  holdsTimes(run, readings.slice(1), 1000);
  assert.ok(run.supersedes > 0);
  // The time can be mended too.
  await page.locator("#readings button").first().click();
  await page.locator("#edit-time").fill("25:00:00");
  await page.getByRole("button", { name: "Save" }).click();
  await page.getByText("Type the time as hours").waitFor();
  await page.locator("#edit-time").fill("12:34:56");
  await page.getByRole("button", { name: "Save" }).click();
  await page.locator("#readings").getByText("12:34:56").waitFor();
  await stage.shut(page);
});

test("a second phone of the class asks before it takes the first one's place", async () => {
  const school = await newSchool();
  for (const count of [3, 5]) {
    const page = await phone();
    await begin(page, school);
    for (const reading of sheet.readings.slice(0, count)) await pin(page, reading);
    await page.getByRole("button", { name: "Hand in", exact: true }).click();
    if (count === 5) {
      await state(page).filter({ hasText: "Another phone has handed in 3 readings" }).waitFor();
      await stage.look(page, "play-other");
      await page.getByRole("button", { name: "Yes, take these" }).click();
      stage.quiet(/409/);
    }
    await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
    await stage.shut(page);
  }
  assert.equal((await handedIn(school)).run.readings.length, 5);
});

test("a list of days that does not come is asked for again", async () => {
  const school = await newSchool();
  const page = await phone();
  await page.context().route("**/api/v1/days?**", (route) => route.abort("connectionreset"));
  await page.goto("/play");
  await page.getByText("There is no connection to the service.").waitFor();
  stage.quiet(/ERR_CONNECTION_RESET/);
  await page.context().unroute("**/api/v1/days?**");
  await page.getByRole("button", { name: "Try again" }).click();
  await page.getByLabel("Class code").fill(school.class_code);
  await page.getByRole("button", { name: "Open" }).click();
  await page.getByText("Your gnomon").waitFor();
  await stage.shut(page);
});

test("what is refused says what to do, and nothing is lost", async () => {
  const school = await stage.school({ ...place, site: "absent", name: "Absent School" });
  const page = await phone();
  await begin(page, school);
  for (const reading of sheet.readings.slice(0, 3)) await pin(page, reading);
  await page.getByRole("button", { name: "Hand in", exact: true }).click();
  await page.getByText("Your school does not take part in this day.").waitFor();
  stage.quiet(/409/);
  await stage.api("PUT", `/days/${DAY}/sites/absent`, { key: school.school_key });
  await page.getByRole("button", { name: "Hand in", exact: true }).click();
  await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
  await stage.shut(page);
});

test("the code of the sheet leaves the address; a wrong one says so; in Spanish", async () => {
  const school = await newSchool();
  const page = await phone({ locale: "es-AR" });
  await page.goto("/play#ZZZZZ-ZZZZZ");
  await page.getByText("Esta clave o código no es correcto").waitFor();
  assert.equal(new URL(page.url()).hash, "");
  stage.quiet(/401/);
  await page.goto(`/#`);
  await page.goto(`/play#${school.class_code}`);
  await page.getByText("Vuestro gnomon").waitFor();
  assert.equal(new URL(page.url()).hash, "");
  await page.locator("#parts input").first().fill("1250,5");
  assert.match(await page.locator("#height").textContent(), /1250,5/);
  await stage.look(page, "play-es");
  await stage.shut(page);
});

test("by keyboard alone", async () => {
  const school = await newSchool();
  const page = await phone({ width: 1280 });
  await begin(page, school);
  await page.locator("#take").focus();
  for (const reading of sheet.readings.slice(0, 3)) {
    await page.clock.setSystemTime(Date.parse(reading.time));
    await page.keyboard.press("Enter");
    await page.keyboard.type(String(reading.shadow_mm));
    await page.keyboard.press("Enter");
  }
  assert.equal(await pins(page), 3);
  await clockMeasured(page); // what it tells is drawn anew, and the focus is not to be looked for meanwhile
  // What has the focus is never behind the bar at the bottom (WCAG 2.2, 2.4.11).
  await page.setViewportSize({ width: 360, height: 640 });
  const hidden = () => page.evaluate(() => {
    const thumb = document.querySelector(".thumb");
    const { activeElement: at } = document;
    const [bar, box] = [thumb, at].map((node) => node.getBoundingClientRect());
    return at !== document.body && !thumb.contains(at)
      && ((box.top < bar.bottom && box.bottom > bar.top) || box.top >= window.innerHeight || box.bottom <= 0);
  });
  await page.locator(".skip").focus();
  for (let i = 0; i < 16; i += 1) {
    await page.keyboard.press("Tab");
    assert.ok(!(await hidden()), await page.evaluate(() => document.activeElement.outerHTML.slice(0, 120)));
  }
  await page.locator("#take").focus();
  for (let i = 0; i < 40 && (await page.evaluate(() => document.activeElement.textContent)) !== "Hand in"; i += 1)
    await page.keyboard.press("Shift+Tab");
  await page.keyboard.press("Enter");
  await state(page).filter({ hasText: "All of it was handed in" }).waitFor();
  await stage.shut(page);
});
