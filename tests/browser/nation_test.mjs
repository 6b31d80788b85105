// SPDX-License-Identifier: MIT
// A measurement day as the country, a class and two schools see it, on a phone's width
// and on a desk's; what is shown is what the API says.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { DAY, largeCountry, smallCountry } from "./country.mjs";
import { Stage, WIDTHS } from "./stage.mjs";

const stage = await Stage.open();
test.after(() => stage.close());
await smallCountry(stage);

const digits = (text) => text.replace(/[\s\u202f]/g, "").replace("\u2212", "-");
const ready = (page) => page.waitForSelector("#leaders-table td");

for (const width of WIDTHS)
  test(`the day at ${width} px: one figure, four pictures, their tables`, async () => {
    const page = await stage.window({ width });
    const result = await stage.api("GET", `/days/${DAY}/result`);
    await page.goto(`/days/${DAY}`);
    await ready(page);
    const figure = digits(await page.textContent("#figure"));
    assert.equal(figure, `${Math.round(result.circumference_km)}±${Math.round(result.sigma_km)}km`);
    await page.waitForSelector("#map canvas");
    await page.waitForSelector("#slope-chart .gnomons");
    await page.waitForSelector("#spread-chart .plot");
    assert.match(digits(await page.textContent("#slope-words")), new RegExp(`=${Math.round(result.circumference_km)}±`));
    for (const place of ["map-table", "slope-table", "spread-table"]) {
      await page.click(`#${place} summary`);
      await page.waitForSelector(`#${place} tbody tr:nth-child(4)`);
    }
    await stage.look(page, "day");
    // Every figure leads to its explanation, and the explanation is there.
    const method = readFileSync(new URL("../../server/web/pages/method.html", import.meta.url), "utf8");
    for (const anchor of await page.$$eval('a[href^="/method#"]', (links) => links.map((link) => link.hash.slice(1))))
      assert.match(method, new RegExp(`<section id="${anchor}"`), anchor);
    stage.quiet();
    await page.context().close();
  });

test("the map is read by keyboard and by search, and hides what is not wanted", async () => {
  const page = await stage.window({ width: 1280 });
  await page.goto(`/days/${DAY}`);
  await ready(page);
  await page.waitForSelector("#map canvas");
  // The painter's last word: coast and pairs come after the sites.
  const before = await page.evaluate(async () => {
    const drawn = () => document.querySelector("#map canvas").toDataURL();
    for (let last = "";;) {
      const now = drawn();
      if (now === last && now.length > 20000) return now;
      last = now;
      await new Promise((done) => { setTimeout(done, 700); });
    }
  });
  await page.focus("#map");
  await page.keyboard.press("+");
  await page.waitForFunction((old) => document.querySelector("#map canvas").toDataURL() !== old, before);
  await page.keyboard.press("0");
  await page.waitForFunction((old) => document.querySelector("#map canvas").toDataURL() === old, before);
  await page.uncheck("#map-legend fieldset:nth-of-type(2) li:first-child input");
  await page.waitForFunction((old) => document.querySelector("#map canvas").toDataURL() !== old, before);
  await page.fill('#map-controls input[type="search"]', "pehuen");
  await page.keyboard.press("Enter");
  assert.match(await page.textContent("#map-picked"), /off the line/);
  await page.fill('#map-controls input[type="search"]', "nobody");
  await page.keyboard.press("Enter");
  assert.match(await page.textContent("#map-controls [role=status]"), /No school/);
  stage.quiet();
  await page.context().close();
});

test("the day by keyboard alone: nothing holds the focus, all of it is seen", async () => {
  const page = await stage.window({ width: 1280 });
  await page.goto(`/days/${DAY}`);
  await ready(page);
  await page.waitForSelector("#spread-chart .plot");
  const wanted = ["#map", "#map-controls button", '#map-controls input[type="search"]', "#map-legend input", "#map-table summary",
    "#slope-table summary", "#spread-table summary", '#leaders-controls input[type="radio"]', "#leaders-table a", "#left-out-sites a", "#files a", "#language"];
  for (let step = 0; step < 140 && wanted.length > 0; step++) {
    await page.keyboard.press("Tab");
    const { met, outline } = await page.evaluate((selector) => ({
      met: document.activeElement.matches(selector), outline: getComputedStyle(document.activeElement).outlineStyle,
    }), wanted[0]);
    assert.notEqual(outline, "none", wanted[0]);
    if (met) wanted.shift();
  }
  assert.deepEqual(wanted, []);
  await page.focus("#map-table summary");
  await page.keyboard.press("Enter");
  await page.waitForSelector("#map-table tbody tr");
  stage.quiet();
  await page.context().close();
});

test("a day before its readings invites; an address of no day leads back", async () => {
  await stage.openDay({ date: "2031-03-21", name: "Far Noon" });
  const page = await stage.window();
  await page.goto("/days/2031-03-21");
  await page.waitForSelector("#take-part:not([hidden])");
  assert.ok(await page.isHidden("#leaders") && (await page.isHidden("#slope")) && (await page.isHidden("#spread")));
  await stage.look(page, "day-before");
  await page.click("#take-part a");
  await page.waitForURL("**/join");
  stage.quiet();
  await page.goto("/days/never");
  await page.click('#before a[href="/"]');
  await page.waitForURL((url) => url.pathname === "/");
  stage.quiet(/404/);
  await page.context().close();
});

test("the leaderboard is filtered and keeps its places", async () => {
  const page = await stage.window({ width: 1280 });
  const board = await stage.api("GET", `/days/${DAY}/leaderboard`);
  await page.goto(`/days/${DAY}`);
  await ready(page);
  await page.fill('#leaders-controls input[name="apart"]', "1500");
  const places = await page.$$eval("#leaders-table tbody tr", (rows) => rows.map((row) => [Number(row.cells[0].textContent), Number(row.cells[2].textContent)]));
  assert.ok(places.length > 0 && places.every(([, apart]) => apart >= 1500), JSON.stringify(places));
  await page.check('input[value="honesty"]');
  assert.equal(await page.textContent("#leaders-table tbody tr:first-child td:nth-child(1)"), String(board.honesty[0].place));
  await page.fill('#leaders-controls input[name="name"]', "Acequia");
  assert.equal((await page.$$("#leaders-table tbody tr")).length, 1);
  stage.quiet();
  await page.context().close();
});

test("new readings appear by themselves", async () => {
  const page = await stage.window({ width: 360 });
  await page.goto(`/days/${DAY}`);
  await ready(page);
  const count = () => page.$$eval("#counts dd", (nodes) => nodes[0].textContent);
  const before = parseInt(await count(), 10);
  await stage.school({ site: "late-school", name: "Late School", lat_deg: -30, lon_deg: -64 }, DAY);
  const run = JSON.parse(readFileSync(`${stage.folder}/sheets/acequia.json`, "utf8"));
  await stage.api("POST", `/days/${DAY}/sites/limon/runs`, {
    key: stage.organiser, body: { ...run, readings: run.readings.map((reading) => ({ ...reading, shadow_mm: reading.shadow_mm - 118, time: new Date(Date.parse(reading.time) - 14 * 60e3).toISOString() })) },
    headers: { "Idempotency-Key": "a-run-that-comes-late" },
  });
  await page.waitForFunction((old) => parseInt(document.querySelector("#counts dd").textContent, 10) > old, before);
  stage.quiet();
  await page.context().close();
});

for (const width of WIDTHS)
  test(`a school's noon at ${width} px: picture, board, budget, pairs`, async () => {
    const page = await stage.window({ width });
    const { reduction } = await stage.api("GET", `/days/${DAY}/sites/caldenar/run`);
    await page.goto(`/days/${DAY}/sites/caldenar/run`);
    await page.waitForSelector("#picture-chart .plot");
    const sums = await page.$$eval("#board .sum", (nodes) => nodes.map((node) => node.textContent));
    // The last line of the board is what the server says.
    assert.equal(digits(sums.at(-1)), digits(`${reduction.noon_angle_deg.toFixed(3)}±${reduction.sigma_deg.toFixed(3)}°`));
    // And the lines before it add up to it.
    const value = (text) => Number(digits(text).match(/-?\+?[\d.]+(?=[^\d.]*$|±)/)[0].replace("+", ""));
    const parts = sums.slice(3, 7).map((text) => Number(digits(text).replace(/[^\d.+-]/g, "")));
    assert.ok(Math.abs(parts.reduce((sum, part) => sum + part, 0) - Math.abs(value(sums[7]))) < 0.0021, sums.join(" | "));
    assert.match(await page.textContent("#left-out"), /1303/);
    assert.ok((await page.$$("#pairs tbody tr")).length > 2);
    await stage.look(page, "run");
    await page.click("#pairs tbody a");
    await page.waitForSelector("#pair .section");
    await stage.look(page, "pair");
    stage.quiet();
    await page.context().close();
  });

test("pins whose directions were taken are seen from above", async () => {
  const school = await stage.school({ site: "pin-school", name: "Pin School", lat_deg: -32.92, lon_deg: -68.78, elev_m: 790 }, DAY);
  const run = JSON.parse(readFileSync(`${stage.folder}/sheets/acequia.json`, "utf8"));
  // South of the tropics the Sun passes in the north: shadows turn from south-west to south-east.
  const readings = run.readings.map((reading, i) => ({ ...reading, bearing_deg: 185 - 4 * i }));
  await stage.api("POST", `/days/${DAY}/sites/pin-school/runs`, { key: school.class_code, body: { ...run, readings }, headers: { "Idempotency-Key": "a-run-with-bearings" } });
  const page = await stage.window();
  await page.goto(`/days/${DAY}/sites/pin-school/run`);
  await page.waitForSelector("#plate .plate");
  assert.equal((await page.$$("#plate .fan")).length, readings.length);
  await page.click("#picture-table summary");
  await page.waitForSelector("#picture-table tbody tr");
  assert.match(await page.textContent("#picture-table tbody tr"), /185\.0/);
  await stage.look(page, "plate");
  await page.goto(`/days/${DAY}/sites/acequia/run`);
  await page.waitForSelector("#picture-chart .plot");
  assert.ok(await page.isHidden("#plate-part"));
  stage.quiet();
  await page.context().close();
});

test("a school without readings is told so, and led on", async () => {
  const page = await stage.window();
  await stage.school({ site: "idle-school", name: "Idle School", lat_deg: -31, lon_deg: -64 }, DAY);
  await page.goto(`/days/${DAY}/sites/idle-school/run`);
  await page.waitForSelector("#no-run:not([hidden])");
  await stage.look(page, "no-run");
  await page.click("#no-run-day");
  await ready(page);
  await page.goto(`/days/${DAY}/pairs/acequia/idle-school`);
  await page.locator("#before", { hasText: "make no pair" }).waitFor();
  stage.quiet(/404/);
  await page.context().close();
});

for (const width of WIDTHS)
  test(`method and certificate at ${width} px`, async () => {
    const page = await stage.window({ width });
    await page.goto("/method#slope");
    await stage.look(page, "method");
    assert.ok(await page.$eval("#slope", (section) => Math.abs(section.getBoundingClientRect().top) < innerHeight));
    await page.goto(`/days/${DAY}/certificates/acequia`);
    await page.waitForSelector("#certificate .big");
    assert.doesNotMatch(await page.textContent("#certificate"), /Pehuen/); // off the line: no partner to show off with
    await page.fill("#class-name", "7b");
    assert.match(await page.textContent("#certificate-name"), /^7b, Acequia/);
    await stage.look(page, "certificate");
    stage.quiet();
    await page.context().close();
  });

test("the certificate fits one sheet of A4 and of Letter", async () => {
  const page = await stage.window({ width: 1280 });
  await page.goto(`/days/${DAY}/certificates/acequia`);
  await page.waitForSelector("#certificate .big");
  for (const format of ["A4", "Letter"]) {
    const pdf = (await page.pdf({ format, landscape: true, printBackground: true })).toString("latin1");
    assert.deepEqual(pdf.match(/\/Count \d+/g), ["/Count 1"], format);
  }
  await page.context().close();
});

test("Spanish, and the dark", async () => {
  const page = await stage.window({ width: 360, locale: "es-AR", colorScheme: "dark" });
  await page.goto(`/days/${DAY}`);
  await ready(page);
  assert.match(await page.textContent("h1"), /vuelta a la Tierra/);
  await stage.look(page, "day-es-dark");
  await page.goto(`/days/${DAY}/sites/caldenar/run`);
  await page.waitForSelector("#picture-chart .plot");
  assert.match(await page.textContent("#board"), /Por qué/);
  await stage.look(page, "run-es-dark");
  stage.quiet();
  await page.context().close();
});

// Counts the work of the page itself; what a frame takes, `make bench` says.
function countWork() {
  globalThis.work = { pictures: 0, strokes: 0, pairs: 0 };
  const count = (owner, name, what) => {
    const own = owner[name];
    owner[name] = function counted(...given) {
      work[what]++;
      return own.apply(this, given);
    };
  };
  count(ImageBitmapRenderingContext.prototype, "transferFromImageBitmap", "pictures");
  for (const name of ["stroke", "fill", "drawImage", "putImageData"]) count(CanvasRenderingContext2D.prototype, name, "strokes");
  const ask = globalThis.fetch;
  globalThis.fetch = (address, ...given) => {
    if (String(address).includes("pairs.csv")) work.pairs++;
    return ask(address, ...given);
  };
}

test("a large country stays smooth: little is made, and nothing is drawn anew to move it", async () => {
  const day = await largeCountry(stage, { sites: 5000, pairs: 50000 });
  const page = await stage.window({ width: 1280, height: 400 });
  await page.addInitScript(countWork);
  await page.goto(`/days/${day}`);
  await page.locator("#counts dd", { hasText: "5000" }).first().waitFor();
  // Megabytes that nobody has come near to are not asked for.
  await page.waitForTimeout(500);
  assert.equal(await page.evaluate(() => work.pairs), 0);
  assert.equal(await page.locator("#map canvas").count(), 0);
  await page.locator("#map").scrollIntoViewIfNeeded();
  await page.waitForFunction(() => document.querySelectorAll("#counts dd")[3].textContent !== "…");
  const pairs = Number(digits(await page.$$eval("#counts dd", (nodes) => nodes[3].textContent)));
  assert.ok(pairs > 40000, String(pairs));
  for (const part of ["slope-chart canvas", "spread-chart .plot", "leaders-table td"]) {
    await page.locator(`#${part.split("-")[0]}`).scrollIntoViewIfNeeded();
    await page.waitForSelector(`#${part}`);
  }
  assert.ok(await page.evaluate(() => document.querySelectorAll("*").length) < 1500);
  // Sixty moves and twenty zooms: the page itself makes and draws nothing, the painter a
  // picture now and then, and at rest the last one is in its place.
  await page.locator("#map").scrollIntoViewIfNeeded();
  await page.waitForFunction(() => work.pictures > 1);
  const moved = await page.evaluate(async () => {
    const map = document.getElementById("map");
    let made = 0;
    const watch = new MutationObserver((records) => { made += records.length; });
    watch.observe(map, { childList: true, subtree: true });
    const before = { ...work };
    const keys = [...Array.from({ length: 60 }, (_, i) => ["ArrowLeft", "ArrowUp", "ArrowRight", "ArrowDown"][i % 4]), ...Array.from({ length: 20 }, (_, i) => "+-"[i % 2])];
    for (const key of keys) {
      map.dispatchEvent(new KeyboardEvent("keydown", { key }));
      await new Promise(requestAnimationFrame);
    }
    await new Promise((done) => { setTimeout(done, 1500); });
    return { pictures: work.pictures - before.pictures, strokes: work.strokes - before.strokes, made, scale: new DOMMatrix(map.querySelector("canvas").style.transform).a };
  });
  assert.equal(moved.strokes, 0);
  assert.ok(moved.pictures >= 1 && moved.pictures <= 80, String(moved.pictures));
  assert.ok(Math.abs(moved.scale - 1) < 1e-9, String(moved.scale));
  assert.equal(moved.made, 0);
  stage.quiet();
  await page.context().close();
});
