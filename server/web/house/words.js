// SPDX-License-Identifier: MIT
// The words of the pages, in every language from one table: words/*.json, one row a
// key, [English, Spanish]. A page loads the rows it needs with useWords.

import house from "../words/house.json";
import problems from "../words/problem.json";

export const LANGUAGES = ["en", "es"];
const table = new Map();

export function useWords(rows) {
  for (const [key, texts] of Object.entries(rows)) table.set(key, texts);
}
useWords(house);
useWords(problems);

function chosen() {
  try {
    const kept = localStorage.getItem("language");
    if (LANGUAGES.includes(kept)) return kept;
  } catch { /* storage refused: the browser's languages decide */ }
  return navigator.languages.map((language) => language.slice(0, 2)).find((language) => LANGUAGES.includes(language)) ?? "en";
}

export const language = chosen();
// The browser's own variety of the language decides on numbers and dates.
export const locale = navigator.languages.find((name) => name.slice(0, 2) === language) ?? language;

export function chooseLanguage(name) {
  try {
    localStorage.setItem("language", name);
  } catch { /* asked again next time */ }
  location.reload();
}

// word("day.sites", {count: 3}): {count} in the text is replaced.
export function word(key, values = {}) {
  const texts = table.get(key);
  if (texts === undefined) throw new Error(`no words for ${key}`);
  return texts[LANGUAGES.indexOf(language)].replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
}

// Which of the rows KEY.one and KEY.other a count wants; countWord (format.js) says it.
const plural = new Intl.PluralRules(locale);
export const rowOf = (key, count) => `${key}.${plural.select(count) === "one" ? "one" : "other"}`;

// One of a family of rows PREFIX + name, or what stands in for a name not known here.
export const wordOf = (prefix, name, instead, values) => (table.has(prefix + name) ? word(prefix + name, values) : instead ?? name);
