// SPDX-License-Identifier: MIT
// Numbers as people read and type them. Rounding of a value to its uncertainty:
// JCGM 100:2008 (GUM), 7.2.6; its two examples from memory.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { join } from "node:path";
import test from "node:test";
import { fileURLToPath } from "node:url";

const root = fileURLToPath(new URL("../../", import.meta.url));
const { build } = createRequire(join(root, "build/npm/package.json"))("esbuild");
const { outputFiles: [bundled] } = await build({
  entryPoints: [join(root, "server/web/house/format.js")], bundle: true, format: "esm", write: false,
});
Object.defineProperty(globalThis, "navigator", { value: { languages: ["en-GB"] }, configurable: true });
const english = await import(`data:text/javascript;base64,${Buffer.from(bundled.contents).toString("base64")}`);
const plain = (text) => text.replace(/[\u202f\u00a0]/g, " ").replace(/\u2212/g, "-");

test("a value follows its uncertainty (GUM 7.2.6)", () => {
  const rows = [
    // 7.2.6: R = 10,057 62 ohm with u = 27 milliohm is rounded to 10,058 ohm.
    [10.05762, 0.027, "10.058", "0.027"],
    // 7.2.2: m = 100,021 47 g with u = 0,35 mg.
    [100.02147, 0.00035, "100.02147", "0.00035"],
    [40007.863, 204.4, "40 010", "200"],
    [39938.2, 9.95, "39 938", "10"],
    [39938.2, 99.6, "39 940", "100"],
    [-21.6944, 0.0404, "-21.694", "0.040"],
  ];
  for (const [value, sigma, shown, shownSigma] of rows) {
    const told = english.withSigma(value, sigma);
    assert.deepEqual([plain(told.value), plain(told.sigma)], [shown, shownSigma]);
  }
  assert.equal(english.withSigma(5, null).sigma, null);
});

test("numbers as typed, with comma or point", () => {
  const rows = [["1250", 1250], ["1250.5", 1250.5], ["1250,5", 1250.5], ["1 250", 1250], ["-3", -3], ["\u22123", -3], [".5", 0.5],
    ["", null], ["x", null], ["1.2.3", null], ["1,2,3", null], ["1e3", null], ["Infinity", null], ["--1", null], ["0x10", null]];
  for (const [text, value] of rows) assert.equal(english.parseNumber(text), value, text);
});

test("angles as typed", () => {
  const angle = (text) => english.parseAngle(text, "N", "S");
  const close = (text, value) => assert.ok(Math.abs(angle(text) - value) < 1e-12, `${text} ${angle(text)}`);
  // Degrees of 60 minutes of 60 seconds.
  close("44.53", 44.53);
  close("-44,53", -44.53);
  close("44 31.8", 44.53);
  close("44\u00b0 31\u2032 48\u2033 S", -44.53);
  close("S 44:31:48", -44.53);
  close("-0 30", -0.5);
  close("0\u00b030'S", -0.5);
  for (const text of ["", "N", "44 N S", "44 60", "44 30 60", "44.5 30", "-44 S", "44 E", "44 30 10 5", "4e1"]) assert.equal(angle(text), null, text);
});

test("spans of time and signs", () => {
  assert.equal(plain(english.span(0)), "0 secs");
  assert.equal(plain(english.span(15)), "15 secs");
  assert.equal(plain(english.span(249)), "4 mins 09 secs");
  assert.match(plain(english.span(3 * 3600 + 5 * 60)), /^3 hrs? 05 mins?$/);
  assert.match(plain(english.span(2 * 86400 + 3600)), /^2 days 1 hr$/);
  assert.equal(english.span(-5), english.span(0));
  assert.equal(plain(english.number(-0.04, 1)), "0.0");
  assert.equal(plain(english.signed(1.25, 1)), "+1.3");
  assert.equal(plain(english.signed(0.004, 2)), "0.00"); // nothing is neither more nor less
});
