// SPDX-License-Identifier: MIT
// A teacher registers a playground and joins a day: place by the device, typed either
// way, or pointed at; exchanged coordinates; secrets shown once, the picture of the
// code read back by zbarimg; what looks odd; waiting for approval.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { join } from "node:path";
import { after, afterEach, before, test } from "node:test";
import { Stage, WIDTHS } from "./stage.mjs";

const SOON = new Date(Date.now() + 20 * 86400000).toISOString().slice(0, 10);
const PLACE = { lat: -33.0112, lon: -68.7421 }; // on land, by the zone's meridian
let stage;

before(async () => {
  stage = await Stage.open();
  await stage.openDay({ date: SOON, name: "Condor Noon" });
});
after(() => stage.close());
afterEach(() => stage.quiet());

async function typePlace(page, lat, lon) {
  await page.getByLabel("Latitude").fill(lat);
  await page.getByLabel("Longitude").fill(lon);
}

const placeShown = async (page) => (await page.locator("#place").textContent()).replace(/\u202f/g, " ");

for (const width of WIDTHS)
  test(`from the place to the plan, ${width} px`, async () => {
    const page = await stage.window({ width, timezoneId: "America/Santiago" });
    await page.goto("/join");
    await stage.look(page, "join-where");
    await typePlace(page, "91.5", "x");
    await page.getByRole("button", { name: "This is the place" }).click();
    await page.getByText("A latitude lies between").waitFor();
    await page.getByText("A longitude lies between").waitFor();
    await stage.look(page, "join-where-wrong");
    await typePlace(page, String(PLACE.lat), String(PLACE.lon));
    assert.match(await placeShown(page), /33\.0112° S, 68\.7421° W/);
    await page.getByRole("button", { name: "This is the place" }).click();
    await page.getByRole("button", { name: "Register" }).click();
    await page.getByText("Type a name that starts").waitFor();
    await page.getByLabel("Name of the school or playground").fill(`Vineyard School ${width}`);
    await page.getByText("More, if you like").click();
    assert.equal(await page.getByLabel("Time zone").inputValue(), "America/Santiago");
    await page.getByLabel("Height of your usual gnomon, mm").fill("1250");
    await stage.look(page, "join-who");
    await page.getByRole("button", { name: "Register" }).click();
    await page.getByRole("heading", { name: "Write these down now" }).waitFor();
    await page.getByRole("button", { name: "Take part in Condor Noon" }).waitFor();
    await stage.look(page, "join-keys");
    const key = await page.locator("#school-key").textContent();
    const code = await page.locator("#class-code").textContent();
    const picture = join(stage.folder, `code-${width}.png`);
    await page.locator(".code-picture").screenshot({ path: picture });
    assert.equal(execFileSync("zbarimg", ["--quiet", "--raw", picture], { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] }).trim(),
      `${stage.base}/play#${code}`);
    const { site } = await stage.api("GET", "/session", { key: code });
    const told = await stage.api("GET", `/sites/${site}`);
    assert.deepEqual([told.lat_deg, told.lon_deg, told.gnomon_mm, told.zone], [PLACE.lat, PLACE.lon, 1250, "America/Santiago"]);
    assert.equal((await stage.api("GET", "/session", { key })).role, "school");
    await page.getByRole("button", { name: "Take part in Condor Noon" }).click();
    await page.waitForURL(`**/days/${SOON}/sites/${site}`);
    const { sites } = await stage.api("GET", `/days/${SOON}/sites`);
    assert.ok(sites.some((one) => one.site === site));
    // Nothing secret is kept that nobody asked to keep, nor stands in an address.
    assert.equal(await page.evaluate(() => localStorage.length), 0);
    await stage.shut(page);
  });

test("an answer that is lost on its way comes again, with the same secrets", async () => {
  const page = await stage.window();
  await page.goto("/join");
  await typePlace(page, "-33.2", "-68.9");
  await page.getByRole("button", { name: "This is the place" }).click();
  await page.getByLabel("Name of the school or playground").fill("Quarry School");
  const keys = [];
  let lost = null;
  await page.context().route("**/api/v1/sites", async (route) => {
    keys.push(route.request().headers()["idempotency-key"]);
    if (lost !== null) return route.continue();
    lost = await (await route.fetch()).json();
    return route.abort("connectionreset");
  });
  await page.getByRole("button", { name: "Register" }).click();
  await page.getByText("There is no connection to the service").waitFor();
  stage.quiet(/ERR_CONNECTION_RESET/);
  await page.getByRole("button", { name: "Register" }).click();
  await page.getByRole("heading", { name: "Write these down now" }).waitFor();
  assert.equal(await page.locator("#school-key").textContent(), lost.school_key);
  assert.equal(await page.locator("#class-code").textContent(), lost.class_code);
  assert.match(keys[0], /^[0-9a-f]{32}$/);
  assert.deepEqual(keys, [keys[0], keys[0]]);
  assert.equal((await stage.api("GET", "/session", { key: lost.school_key })).site, lost.site.site);
  const { sites } = await stage.api("GET", "/sites");
  assert.equal(sites.filter(({ name }) => name === "Quarry School").length, 1);
  await stage.shut(page);
});

test("the place as the device tells it", async () => {
  const page = await stage.window({ permissions: ["geolocation"], geolocation: { latitude: PLACE.lat, longitude: PLACE.lon, accuracy: 8 } });
  await page.goto("/join");
  await page.getByRole("button", { name: "I stand there now" }).click();
  await page.locator("#located").filter({ hasText: /Found, good to 8/ }).waitFor();
  assert.match(await placeShown(page), /33\.0112° S, 68\.7421° W/);
  await stage.shut(page);
});

test("a device that may not tell its place says what else to do", async () => {
  const page = await stage.window({ permissions: [] });
  await page.goto("/join");
  await page.getByRole("button", { name: "I stand there now" }).click();
  await page.getByText("or type or point instead").first().waitFor();
  await stage.shut(page);
});

test("decimal, degrees and minutes, with sides as letters, in either language", async () => {
  const page = await stage.window();
  await page.goto("/join");
  for (const [lat, lon] of [["-33.0112", "-68.7421"], ["-33,0112", "-68,7421"], ["33° 0.672' S", "68° 44.526' W"], ["33 00 40.32 s", "W 68 44 31.56"], ["33°0,672′S", "68°44,526′O"]]) {
    await typePlace(page, lat, lon);
    assert.match(await placeShown(page), /33\.0112° S, 68\.7421° W/, lat);
  }
  for (const [lat, lon] of [["33 S 5 N", "10"], ["--33", "10"], ["33.5 10", "10"], ["33 61", "10"], ["10", "-33 W"]]) {
    await typePlace(page, lat, lon);
    assert.equal(await placeShown(page), "", `${lat} ${lon}`);
  }
  await stage.shut(page);
});

test("pointed at on the map, closer and closer", async () => {
  const page = await stage.window({ width: 1280 });
  await page.goto("/join");
  const map = page.locator(".point-map");
  await page.locator(".coast[d^=M]").waitFor();
  const point = async (x, y) => {
    const box = await map.boundingBox();
    await map.click({ position: { x: box.width * x, y: box.height * y } });
  };
  await point((180 + PLACE.lon) / 360, (90 - PLACE.lat) / 180);
  const shown = async () => [await page.getByLabel("Latitude").inputValue(), await page.getByLabel("Longitude").inputValue()]
    .map((text) => Number(text.replace("\u2212", "-")));
  let [lat, lon] = await shown();
  assert.ok(Math.abs(lat - PLACE.lat) < 1 && Math.abs(lon - PLACE.lon) < 1, `${lat} ${lon}`);
  await page.getByText(/A click at this width is good to/).waitFor();
  for (let i = 0; i < 4; i += 1) await page.getByRole("button", { name: "Closer" }).click();
  await point(0.5, 0.5);
  const [lat2, lon2] = await shown();
  assert.ok(Math.abs(lat2 - lat) < 0.02 && Math.abs(lon2 - lon) < 0.02);
  await stage.look(page, "join-map");
  await stage.shut(page);
});

test("exchanged latitude and longitude are noticed, and put right by one button", async () => {
  const page = await stage.window({ timezoneId: "Asia/Tashkent" });
  await page.goto("/join");
  await typePlace(page, "66.9750", "39.6270");
  assert.ok(await page.locator("#swapped").isHidden()); // too near the clock's meridian to be sure
  await typePlace(page, "69.24", "9.3");
  await page.getByText("Are latitude and longitude exchanged?").waitFor();
  await page.getByRole("button", { name: "Exchange them" }).click();
  assert.match(await placeShown(page), /9\.3000° N, 69\.2400° E/);
  await typePlace(page, "110.5", "41.3");
  await page.getByText("Are latitude and longitude exchanged?").waitFor();
  await stage.look(page, "join-swapped");
  // What the page lets pass, the service still refuses.
  await typePlace(page, "69.2401", "41.2995");
  await page.getByRole("button", { name: "This is the place" }).click();
  await page.getByLabel("Name of the school or playground").fill("Silk School");
  await page.getByText("More, if you like").click();
  await page.getByLabel("Time zone").fill("Asia/Nowhere");
  await page.getByRole("button", { name: "Register" }).click();
  await page.getByText("There is no such time zone").waitFor();
  stage.quiet(/422/);
  await stage.shut(page);
});

test("a school that has its key goes on to the days, and may keep the key here", async () => {
  const school = await stage.school({ name: "Poplar School", lat_deg: PLACE.lat, lon_deg: PLACE.lon });
  const page = await stage.window({ locale: "es-AR" });
  await page.goto("/join");
  await page.getByText("¿Ya estáis registrados?").click();
  await page.getByRole("textbox", { name: "Clave de la escuela" }).fill(school.class_code);
  await page.getByRole("button", { name: "Seguir" }).click();
  await page.getByText("Esto no es una clave de escuela.").waitFor();
  await page.getByRole("textbox", { name: "Clave de la escuela" }).fill(school.school_key);
  await page.getByRole("button", { name: "Seguir" }).click();
  await page.getByRole("heading", { name: "Poplar School" }).waitFor();
  await stage.look(page, "join-choose-es");
  await page.getByRole("button", { name: "Participar en Condor Noon" }).click();
  await page.waitForURL(`**/days/${SOON}/sites/poplar-school`);
  await stage.shut(page);
});

test("what looks odd is taken, and said", async () => {
  const page = await stage.window();
  await page.goto("/join");
  await typePlace(page, "0", "0");
  await page.getByRole("button", { name: "This is the place" }).click();
  await page.getByLabel("Name of the school or playground").fill("Nowhere School");
  await page.getByRole("button", { name: "Register" }).click();
  await page.getByText("which is in the sea off Africa").waitFor();
  await stage.look(page, "join-warned");
  await stage.shut(page);
});

test("where the organiser decides, the school hears that it waits", async () => {
  await stage.api("POST", "/seasons", { key: stage.organiser, body: { name: "Condor Season", season: "condor", approval: true } });
  await stage.openDay({ date: SOON, day: "asked", name: "By Approval", season: "condor" });
  const school = await stage.school({ name: "Hopeful School", lat_deg: PLACE.lat + 1, lon_deg: PLACE.lon });
  const page = await stage.window();
  await page.goto("/join");
  await page.getByText("Registered already?").click();
  await page.getByRole("textbox", { name: "School key" }).fill(school.school_key);
  await page.getByRole("button", { name: "Go on" }).click();
  await page.getByRole("button", { name: "Take part in By Approval" }).click();
  await page.getByText("The organiser decides; until then").waitFor();
  await stage.look(page, "join-waits");
  await page.getByRole("link", { name: "See your plan" }).click();
  await page.waitForURL("**/days/asked/sites/hopeful-school");
  await page.getByRole("heading", { name: "Plan for the day" }).waitFor();
  await stage.shut(page);
});
