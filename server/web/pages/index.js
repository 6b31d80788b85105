// SPDX-License-Identifier: MIT
// The page that everyone opens first: the question, two doors, and the days.
import { getAll } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { longDate } from "../house/format.js";
import { attempt, begin } from "../house/page.js";
import { word } from "../house/words.js";
import words from "../words/index.json";

function row({ day, name, date }) {
  const title = name === day ? longDate(date) : name;
  return h("li", {}, h("a", { href: `/days/${encodeURIComponent(day)}` }, h("strong", {}, title),
    title !== longDate(date) && h("span", {}, longDate(date))));
}

begin(words, () => attempt(async () => {
  const days = await getAll("/days", "days");
  fill(byId("days"), days.length === 0 ? h("li", {}, word("index.no_days")) : days.reverse().map(row));
}));
