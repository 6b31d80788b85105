// SPDX-License-Identifier: MIT
// The page that everyone opens first: the question, two doors, and the days.
import { get, getAll, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { longDate, measured } from "../house/format.js";
import { attempt, begin } from "../house/page.js";
import { word } from "../house/words.js";
import words from "../words/index.json";

const today = () => new Date().toISOString().slice(0, 10);

// The days hang on the noon line as pins: from today on, and back.
function pin({ day, name, date }) {
  return h("li", { class: date < today() ? "past" : "ahead" }, h("a", { href: path`/days/${day}` },
    h("span", { class: "when" }, longDate(date)), name !== day && h("strong", {}, name)));
}

// The question of the page has an answer as soon as an edition has one.
function showNewest([edition]) {
  byId("newest").hidden = edition === undefined || edition.circumference_km === null;
  if (!byId("newest").hidden)
    fill(byId("newest"), h("span", {}, word("index.newest")), h("a", { href: path`/editions/${edition.edition}` },
      h("strong", {}, measured(edition.circumference_km, edition.sigma_km, "km")), " ", edition.title));
}

begin(words, async () => {
  const [all, { editions }] = await attempt(() => Promise.all([getAll("/days", "days"), get("/editions?limit=1")]));
  showNewest(editions);
  const days = all.sort((one, other) => one.date.localeCompare(other.date));
  const ahead = days.filter(({ date }) => date >= today());
  const past = days.filter(({ date }) => date < today()).reverse();
  byId("no-days").hidden = ahead.length > 0;
  byId("past").hidden = past.length === 0;
  fill(byId("days"), ahead.length > 0 && h("li", { class: "today" }, word("index.today")), ahead.map(pin));
  fill(byId("past-days"), past.map(pin));
});
