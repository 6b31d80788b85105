// SPDX-License-Identifier: MIT
// A school's day: countdown by the server's clock, partners along the meridian, the
// sky board as it changes, a new class code, the sheet on A4 and Letter.
import assert from "node:assert/strict";
import { after, afterEach, before, test } from "node:test";
import { Stage, WIDTHS } from "./stage.mjs";

// A day ahead, so that there is a noon to wait for.
const SOON = new Date(Date.now() + 5 * 86400000).toISOString().slice(0, 10);
const SPARE = new Date(Date.now() + 6 * 86400000).toISOString().slice(0, 10);
const PLACES = [
  ["Vineyard School", -33.01, -68.74], ["Salt Flat School", -23.6, -68.9], ["Rain Shadow School", -42.9, -69.1],
  ["Poplar School", -32.9, -68.7], ["Far East School", -33.0, -60.2],
];
let stage;
const schools = {};

before(async () => {
  stage = await Stage.open();
  await stage.openDay({ date: SOON, name: "Condor Noon", spare_dates: [SPARE] });
  for (const [name, lat_deg, lon_deg] of PLACES)
    schools[name] = await stage.school({ name, lat_deg, lon_deg, zone: "America/Argentina/Mendoza", gnomon_mm: 2400 }, SOON);
});
after(() => stage.close());
afterEach(() => stage.quiet());

const PAGE = `/days/${SOON}/sites/vineyard-school`;
const pagesOf = (pdf) => pdf.toString("latin1").match(/\/Type\s*\/Page[^s]/g).length;

async function open(options) {
  const page = await stage.window(options);
  await page.goto(PAGE);
  await page.locator(".band .school").first().waitFor();
  return page;
}

for (const width of WIDTHS)
  test(`what a school needs to know, ${width} px`, async () => {
    const page = await open({ width });
    const plan = await stage.api("GET", `/days/${SOON}/sites/vineyard-school/plan`);
    const [date] = plan.dates;
    // The clock of the site's zone, three hours behind UTC.
    const noon = new Date(Date.parse(date.transit_utc) - 3 * 3600000).toISOString().slice(11, 19);
    assert.ok((await page.locator("#noon-at").textContent()).includes(noon));
    const hours = (Date.parse(date.transit_utc) - Date.now()) / 3600000;
    const shown = await page.locator("#countdown").textContent();
    assert.ok(shown.startsWith(`${Math.floor(hours / 24)} day`), shown);
    assert.match(await page.locator("#spares").textContent(), /If clouds win/);
    const rows = await page.locator("#partners tbody tr").allTextContents();
    assert.equal(rows.length, plan.partners.length);
    plan.partners.forEach(({ name }, i) => assert.ok(rows[i].includes(name)));
    assert.ok(!rows.some((row) => row.includes("Far East")));
    assert.equal(await page.locator(".band .school").count(), rows.length);
    assert.match(await page.locator("#bring").textContent(), /Guy ropes/); // 2.4 m
    // Nothing tells what is to be measured.
    assert.ok(!(await page.locator("main").textContent()).includes("°"));
    await stage.look(page, "plan");
    await stage.shut(page);
  });

test("the sky board changes by itself, told with the class code", async () => {
  const watcher = await open();
  const row = (name) => watcher.locator("#partners tr").filter({ hasText: name });
  await row("Salt Flat School").filter({ hasText: "not told" }).waitFor();
  await stage.api("PUT", `/days/${SOON}/sites/salt-flat-school/sky`, { key: schools["Salt Flat School"].class_code, body: { sky: "overcast" } });
  await row("Salt Flat School").filter({ hasText: "overcast" }).waitFor();
  await watcher.getByLabel("the Sun comes and goes").check();
  await watcher.getByRole("button", { name: "Tell the others" }).click();
  assert.equal(await watcher.evaluate(() => document.activeElement.id), "sky-key");
  await watcher.locator("#sky-key").fill(schools["Vineyard School"].class_code);
  await watcher.getByRole("button", { name: "Tell the others" }).click();
  await watcher.getByText("The others see it now.").waitFor();
  const board = await stage.api("GET", `/days/${SOON}/sky`);
  assert.equal(board.sites.find(({ site }) => site === "vineyard-school").sky, "broken");
  await watcher.locator("#counts").filter({ hasText: "1 with Sun and clouds, 1 overcast" }).waitFor();
  await stage.look(watcher, "plan-sky");
  await stage.shut(watcher);
});

test("a partner chosen beforehand, and another one when cloud comes", async () => {
  await stage.api("POST", `/days/${SOON}/partners`, { key: stage.organiser });
  const { partners } = await stage.api("GET", `/days/${SOON}/sites/vineyard-school/partner`);
  const page = await open();
  const told = page.locator("#partner");
  await told.filter({ hasText: `Your partner is ${partners[0].name}.` }).waitFor();
  await stage.api("PUT", `/days/${SOON}/sites/${partners[0].site}/sky`, { key: schools[partners[0].name].class_code, body: { sky: "gone_home" } });
  await told.filter({ hasText: "we have gone home" }).waitFor();
  await stage.look(page, "plan-partner");
  await stage.shut(page);
});

test("the sheet fills one page of A4 and of Letter, with a new code that works", async () => {
  const page = await open({ width: 1280 });
  await page.getByText("Put a new class code on the sheet").click();
  await page.locator("#school-key").fill("wrong");
  await page.getByRole("button", { name: "Make it" }).click();
  await page.getByText("This key or code is not the right one").waitFor();
  stage.quiet(/401/);
  await page.locator("#school-key").fill(schools["Vineyard School"].school_key);
  await page.getByRole("button", { name: "Make it" }).click();
  const code = await page.locator("#code-said .secret").textContent();
  assert.equal((await stage.api("GET", "/session", { key: code })).site, "vineyard-school");
  await stage.look(page, "plan-code");
  for (const format of ["A4", "Letter"]) assert.equal(pagesOf(await page.pdf({ format })), 1, format);
  await page.emulateMedia({ media: "print" });
  await page.locator(".sheet-of-paper").getByText(code).waitFor();
  assert.ok(await page.locator("#plan").isHidden());
  assert.ok(await page.locator("footer").isHidden());
  await stage.shut(page);
});

test("a device whose clock is wrong counts down by the server's", async () => {
  const page = await stage.window();
  await page.clock.install({ time: Date.now() + 3600000 });
  await page.goto(PAGE);
  const plan = await stage.api("GET", `/days/${SOON}/sites/vineyard-school/plan`);
  const right = Math.floor(((Date.parse(plan.dates[0].transit_utc) - Date.now()) / 3600000) % 24);
  await page.locator("#countdown").filter({ hasText: new RegExp(` ${right} (hr|hour)`) }).waitFor();
  await stage.shut(page);
});

test("where nothing is, and in the other language", async () => {
  const page = await stage.window({ locale: "es-AR" });
  await page.goto(`/days/${SOON}/sites/nowhere-school`);
  await page.getByText("No hay nada en esta dirección").waitFor();
  stage.quiet(/404/);
  await page.goto(PAGE);
  await page.getByText("Escuelas en vuestro meridiano").waitFor();
  await page.locator(".band .school").first().waitFor();
  await stage.look(page, "plan-es");
  await stage.shut(page);
});
