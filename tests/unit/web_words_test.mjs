// SPDX-License-Identifier: MIT
// The words of the pages: every row in every language, with the same places to fill;
// no row missing, no row that nobody says.
import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import test from "node:test";
import { fileURLToPath } from "node:url";

const web = fileURLToPath(new URL("../../server/web/", import.meta.url));
const LANGUAGES = 2;

const files = (folder, ending) => readdirSync(join(web, folder)).filter((name) => name.endsWith(ending))
  .map((name) => [`${folder}/${name}`, readFileSync(join(web, folder, name), "utf8")]);
const tables = files("words", ".json").map(([name, text]) => [name, JSON.parse(text)]);
const rows = new Map(tables.flatMap(([, table]) => Object.entries(table)));
const scripts = ["house", "charts", "nation", "run", "organiser", "pages"].flatMap((folder) => files(folder, ".js"))
  .map(([name, text]) => [name, text.replace(/^\s*\/\/.*$/gm, "")]);
const sheets = [...files("pages", ".html"), ["shell.html", readFileSync(join(web, "shell.html"), "utf8")]];

// What the pages ask for: whole keys, keys with .one and .other, and families.
const asked = { keys: new Set(), families: new Set() };
for (const [, text] of scripts) {
  for (const [, key] of text.matchAll(/\bword\(\s*"([^"]+)"/g)) asked.keys.add(key);
  for (const [, one, other] of text.matchAll(/\bword\([^"()]*\?\s*"([^"]+)"\s*:\s*"([^"]+)"/g)) asked.keys.add(one).add(other);
  for (const [, key] of text.matchAll(/\bcountWord\(\s*"([^"]+)"/g)) asked.keys.add(`${key}.one`).add(`${key}.other`);
  for (const [, prefix] of text.matchAll(/\bwordOf\(\s*"([^"]+)"/g)) asked.families.add(prefix);
}
for (const [, text] of sheets)
  for (const [, key] of text.matchAll(/data-word(?:-label)?="([^"]+)"/g)) asked.keys.add(key);
for (const { title } of JSON.parse(readFileSync(join(web, "pages.json"), "utf8"))) asked.keys.add(title);

test("every row stands once, in every language, with the same places to fill", () => {
  const places = (text) => [...text.matchAll(/\{\w+\}/g)].map(([place]) => place).sort();
  assert.equal(rows.size, tables.reduce((sum, [, table]) => sum + Object.keys(table).length, 0), "a key stands in two tables");
  for (const [key, texts] of rows) {
    assert.equal(texts.length, LANGUAGES, key);
    for (const text of texts) assert.ok(typeof text === "string" && text.trim() !== "", key);
    for (const text of texts) assert.deepEqual(places(text), places(texts[0]), key);
  }
});

test("no row is missing", () => {
  assert.ok(asked.keys.size > 15);
  assert.deepEqual([...asked.keys].filter((key) => !rows.has(key)), []);
});

test("no row goes unsaid", () => {
  const said = (key) => asked.keys.has(key) || [...asked.families].some((prefix) => key.startsWith(prefix));
  assert.deepEqual([...rows.keys()].filter((key) => !said(key)), []);
});

// Codes that only programs meet, and those that the house has one answer for.
const UNTOLD = ["none", "bad_json", "bad_query", "bad_header", "wrong_key", "not_found", "method_not_allowed", "unsupported_media_type",
  "missing_field", "unknown_field", "wrong_type", "out_of_range", "rows_wrong", "idempotency_key_reused", "too_many_requests",
  "head_too_large", "internal", "network", "storage", "busy"];

test("whatever the service refuses or finds odd is said in every language", () => {
  const codes = (header, pattern) => [...readFileSync(join(web, "..", header), "utf8").matchAll(pattern)].map(([, code]) => code);
  const refusals = codes("base/err.h", /X\(ERR_\w+,[\s\\]*"(\w+)"/g);
  const warnings = codes("wire/warning.h", /X\(WARNING_\w+,[\s\\]*"(\w+)"/g);
  assert.ok(refusals.length > 40 && warnings.length > 5);
  assert.deepEqual(refusals.filter((code) => !UNTOLD.includes(code) && !rows.has(`problem.${code}`)), []);
  assert.deepEqual(warnings.filter((code) => !rows.has(`warning.${code}`)), []);
});

test("whatever the audit log says was done has its words", () => {
  const rules = fileURLToPath(new URL("../../server/rules/", import.meta.url));
  const done = readdirSync(rules).filter((name) => name.endsWith(".c")).flatMap((name) =>
    [...readFileSync(join(rules, name), "utf8").matchAll(/"((?:day|edition|organiser|partners|run|season|session|site|sky|store)\.[a-z_]+)"/g)].map(([, action]) => action));
  assert.ok(done.length > 25);
  const verdicts = ["ask", "answer", "exclude", "accept"].map((verdict) => `run.${verdict}`); // put together there
  assert.deepEqual([...done, ...verdicts].filter((action) => !rows.has(`audit.action_${action}`)), []);
});

test("text is set as text", () => {
  for (const [name, text] of scripts)
    assert.doesNotMatch(text, /innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function/, name);
  for (const [name, text] of sheets)
    assert.doesNotMatch(text, /<script(?![^>]*src=)|\sstyle=|\son[a-z]+=/, name);
});
