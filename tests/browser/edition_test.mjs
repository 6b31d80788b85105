// SPDX-License-Identifier: MIT
// An edition from the desk to its page: published, shown, corrected, checked.
import assert from "node:assert/strict";
import test from "node:test";

import { DAY, smallCountry } from "./country.mjs";
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
});
