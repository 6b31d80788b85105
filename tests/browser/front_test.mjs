// SPDX-License-Identifier: MIT
// The page that everyone opens first: what it weighs, where it leads; and what every page
// has: words in two languages, a way past the head, one policy.
import assert from "node:assert/strict";
import { existsSync, readFileSync, readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { after, afterEach, before, test } from "node:test";
import { Stage, WIDTHS, build } from "./stage.mjs";

const WEIGHT_MAX = 100 * 1024; // bytes on the wire
let stage;

before(async () => {
  stage = await Stage.open();
  for (const [date, name] of [["2027-03-18", "Condor Noon"], ["2027-09-21", "2027-09-21"]]) await stage.openDay({ date, name });
});
after(() => stage.close());
afterEach(() => stage.quiet());

for (const width of WIDTHS)
  test(`doors and days, ${width} px`, async () => {
    const page = await stage.window({ width });
    await page.goto("/");
    await page.getByRole("link", { name: "Condor Noon" }).waitFor();
    await stage.look(page, "front");
    for (const [door, address] of [["Join with your school", "/join"], ["We are in the playground", "/play"], ["Condor Noon", "/days/2027-03-18"]]) {
      await page.goto("/");
      await page.getByRole("link", { name: door }).click();
      await page.waitForURL(`**${address}`);
    }
    await stage.shut(page);
  });

test("dark, and in Spanish, chosen by hand and remembered", async () => {
  const page = await stage.window({ colorScheme: "dark" });
  await page.goto("/");
  await page.getByRole("link", { name: "Condor Noon" }).waitFor();
  await stage.look(page, "front-dark");
  await page.getByLabel("Language").selectOption("es");
  await page.getByText("¿Cuánto mide la vuelta a la Tierra?").waitFor();
  assert.equal(await page.evaluate(() => document.documentElement.lang), "es");
  await page.getByText("18 de marzo de 2027").waitFor();
  await page.goto("/join");
  await page.getByText("¿Dónde está vuestro patio?").waitFor();
  await stage.shut(page);
});

test("by keyboard past the head, into the days", async () => {
  const page = await stage.window({ width: 1280 });
  await page.goto("/");
  await page.getByRole("link", { name: "Condor Noon" }).waitFor();
  await page.keyboard.press("Tab");
  assert.equal(await page.evaluate(() => document.activeElement.className), "skip");
  await page.keyboard.press("Enter");
  await page.keyboard.press("Tab");
  assert.equal(await page.evaluate(() => document.activeElement.getAttribute("href")), "/join");
  await stage.shut(page);
});

// How soon they answer, `make bench` says.
test("light to carry", async (t) => {
  for (const address of ["/", "/join", "/play"]) {
    const page = await stage.window();
    const client = await page.context().newCDPSession(page);
    await client.send("Network.enable");
    let bytes = 0;
    client.on("Network.loadingFinished", ({ encodedDataLength }) => { bytes += encodedDataLength; });
    await page.goto(address, { waitUntil: "networkidle" });
    t.diagnostic(`seed ${address} ${(bytes / 1024).toFixed(1)} KB`);
    assert.ok(bytes > 5000 && bytes < WEIGHT_MAX, `${address} ${bytes}`);
    await stage.shut(page);
  }
});

test("no page asks for much before it can show anything", () => {
  const web = join(build, "web");
  const sent = (file) => statSync(join(web, existsSync(join(web, `${file}.gz`)) ? `${file}.gz` : file)).size;
  const pages = readdirSync(web).filter((file) => file.endsWith(".html"));
  assert.ok(pages.length > 10);
  for (const file of pages) {
    const named = readFileSync(join(web, file), "utf8").matchAll(/(?:src|href)="\/(assets\/[^"]+)"/g);
    const bytes = [file, ...new Set([...named].map(([, asset]) => asset))].reduce((sum, one) => sum + sent(one), 0);
    assert.ok(bytes < WEIGHT_MAX, `${file} ${bytes}`);
  }
});

test("without a connection it says so, and goes on when asked", async () => {
  const page = await stage.window();
  await page.context().route("**/api/v1/days?**", (route) => route.abort("internetdisconnected"));
  await page.goto("/");
  await page.getByText("There is no connection to the service.").waitFor();
  await stage.look(page, "front-no-network");
  await page.context().unrouteAll();
  await page.getByRole("button", { name: "Try again" }).click();
  await page.getByRole("link", { name: "Condor Noon" }).waitFor();
  stage.quiet(/ERR_INTERNET_DISCONNECTED/);
  await stage.shut(page);
});

test("a wrong address leads back", async () => {
  const page = await stage.window();
  for (const address of ["/nowhere", "/days/2027-03-18/nothing", "/assets/nothing.js"]) {
    assert.equal((await page.goto(address)).status(), 404);
    await page.getByText("No shadow falls here").waitFor();
    stage.quiet(/404/);
  }
  await stage.look(page, "missing");
  await page.getByRole("link", { name: "To the days" }).click();
  await page.waitForURL("**/");
  // A program is told as programs are.
  const answer = await fetch(`${stage.base}/nowhere`, { headers: { Accept: "application/json" } });
  assert.equal(answer.headers.get("Content-Type"), "application/problem+json");
  await stage.shut(page);
});
