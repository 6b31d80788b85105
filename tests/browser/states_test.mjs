// SPDX-License-Identifier: MIT
// Every page in every state: while it waits, when there is nothing at its address, without
// a connection, when the service fails. One title, words that say what is the matter, and
// a way on.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { DAY, smallCountry } from "./country.mjs";
import { Stage } from "./stage.mjs";

const stage = await Stage.open();
test.after(() => stage.close());
await smallCountry(stage);

const PAGES = JSON.parse(readFileSync(new URL("../../server/web/pages.json", import.meta.url), "utf8")).map(({ address }) => address);
const filled = (address, values) => address.replace(/\{(\w+)\}/g, (_, name) => values[name]);
const THERE = { day: DAY, site: "acequia", partner: "salar", id: "1" };
// Addresses of nothing, by what is missing of them.
const NOWHERE = [
  ["/days/{day}", { day: "never" }], ["/days/{day}/sites/{site}", { day: "never", site: "acequia" }], ["/days/{day}/sites/{site}", { site: "nobody" }],
  ["/days/{day}/sites/{site}/run", { site: "nobody" }], ["/days/{day}/sites/{site}/run", { day: "never" }],
  ["/days/{day}/pairs/{site}/{partner}", { partner: "nobody" }], ["/days/{day}/pairs/{site}/{partner}", { site: "nobody" }],
  ["/days/{day}/certificates/{site}", { site: "nobody" }], ["/editions/{id}", { id: "99" }], ["/editions/{id}", { id: "none" }], ["/nowhere", {}],
];

async function stands(page, name) {
  const seen = await page.evaluate(() => {
    const shown = (selector) => [...document.querySelectorAll(selector)].filter((node) => node.getClientRects().length > 0);
    return {
      titles: shown("h1").map((node) => node.textContent.trim()), ways: shown("main a, main button, #notice button").length,
      named: document.title,
    };
  });
  assert.equal(seen.titles.length, 1, `${name}: ${seen.titles}`);
  assert.ok(seen.titles[0].length > 2 && seen.named.length > "noonarc".length + 5, `${name}: ${JSON.stringify(seen)}`);
  return seen;
}

test("at an address of nothing", async () => {
  const page = await stage.window();
  for (const [pattern, values] of NOWHERE) {
    const address = filled(pattern, { ...THERE, ...values });
    await page.goto(address);
    const way = page.locator(pattern === "/nowhere" ? "main a.main" : "#before a.main");
    await way.waitFor();
    const { ways } = await stands(page, address);
    assert.ok(ways > 0, address);
    await stage.look(page, `nothing-${pattern.replace(/[{}]/g, "").split("/").filter(Boolean).join("-")}`);
    await way.click();
    await page.waitForURL((url) => ["/", `/days/${DAY}`].includes(url.pathname));
    stage.quiet(/404/);
  }
  await page.context().close();
});

test("at the desk, at a day that is not", async () => {
  const page = await stage.window();
  await page.goto("/organiser/days/never");
  await page.click("#door summary");
  await page.fill('#door input[name="key"]', stage.organiser);
  await page.keyboard.press("Enter");
  await page.locator('#before a[href="/organiser"]').waitFor();
  await stands(page, "the desk");
  await stage.look(page, "nothing-organiser");
  stage.quiet(/401/, /404/);
  await page.context().close();
});

// How the service answers, what the page then shows.
const TROUBLES = [
  ["no network", (route) => route.abort("internetdisconnected"), /connection/],
  ["a failure inside", (route) => route.fulfill({ status: 500, contentType: "application/problem+json", body: '{"status": 500, "code": "internal"}' }), /Something went wrong/],
  ["too much to do", (route) => route.fulfill({ status: 503, contentType: "application/problem+json", body: '{"status": 503, "code": "busy"}' }), /busy/],
  ["a slow answer", () => {}, /moment/],
];
const ASKING = PAGES.filter((address) => !["/join", "/play", "/method", "/missing"].includes(address));

for (const [name, answer, words] of TROUBLES)
  test(`every page with ${name}`, async () => {
    for (const address of ASKING) {
      const page = await stage.window();
      await page.route("**/api/v1/**", answer);
      await page.goto(filled(address, THERE));
      await page.locator("#notice", { hasText: words }).waitFor();
      const { ways } = await stands(page, `${address}, ${name}`);
      if (name !== "a slow answer") assert.ok(ways > 0, `${address}, ${name}`);
      await stage.look(page, `trouble-${name.replaceAll(" ", "-")}`);
      stage.quiet(/ERR_INTERNET_DISCONNECTED/, /50[03]/);
      await stage.shut(page);
    }
  });

test("what failed comes when it is asked for again", async () => {
  for (const address of ASKING.filter((one) => !one.includes("{id}"))) {
    const page = await stage.window();
    await page.route("**/api/v1/**", (route) => route.abort("internetdisconnected"));
    await page.goto(filled(address, THERE));
    const again = page.getByRole("button", { name: "Try again" });
    await again.waitFor();
    await page.unrouteAll();
    await again.click();
    await page.waitForFunction(() => document.getElementById("notice").textContent === "" && (document.getElementById("before") === null || document.getElementById("before").hidden));
    await stands(page, address);
    stage.quiet(/ERR_INTERNET_DISCONNECTED/, /401/);
    await stage.shut(page);
  }
});
