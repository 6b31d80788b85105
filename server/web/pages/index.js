// SPDX-License-Identifier: MIT
// The page that everyone opens first: the question, two doors, and the days.
import { getAll, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { longDate } from "../house/format.js";
import { attempt, begin } from "../house/page.js";
import { word } from "../house/words.js";
import words from "../words/index.json";

const today = () => new Date().toISOString().slice(0, 10);

// The days hang on the noon line as pins, the coming ones above today's mark.
function pin({ day, name, date }) {
  return h("li", { class: date < today() ? "past" : "ahead" }, h("a", { href: path`/days/${day}` },
    h("span", { class: "when" }, longDate(date)), name !== day && h("strong", {}, name)));
}

begin(words, async () => {
  const days = (await attempt(() => getAll("/days", "days"))).sort((one, other) => other.date.localeCompare(one.date));
  const ahead = days.filter(({ date }) => date >= today());
  const past = days.filter(({ date }) => date < today());
  byId("no-days").hidden = days.length > 0;
  fill(byId("days"), ahead.map(pin), days.length > 0 && h("li", { class: "today" }, word("index.today")), past.map(pin));
});
