// SPDX-License-Identifier: MIT
// The day's answer: one figure, how sure it is, and what stands beside it.
import { byId, fill, h } from "../house/dom.js";
import { countWord, longDate, measured, number, signed, withSigma, withUnit } from "../house/format.js";
import { path } from "../house/api.js";
import { word, wordOf } from "../house/words.js";

const term = (words, anchor, ...content) => h("div", {},
  h("dt", {}, words), h("dd", {}, content, " ", h("a", { class: "why", href: `/method#${anchor}`, "aria-label": `${word("nation.why")}: ${words}` }, "?")));

function beside(result) {
  const halfWidth = (result.median_high_km - result.median_low_km) / 2;
  return [
    result.low_km !== null && result.high_km !== null && term(word("nation.two_in_three"), "sigma",
      word("nation.between", { low: withSigma(result.low_km, result.sigma_km).value, high: withSigma(result.high_km, result.sigma_km).value })),
    term(word("nation.handbook"), "against", withUnit(result.handbook_km, 1, "km")),
    result.local_km !== null && term(word("nation.local"), "against", withUnit(result.local_km, 0, "km")),
    result.median_km !== null && term(word("nation.median"), "median",
      measured(result.median_km, Number.isFinite(halfWidth) && result.median_low_km !== null && result.median_high_km !== null ? halfWidth : result.sigma_km, "km")),
    result.birge_ratio !== null && term(word("nation.birge"), "birge", number(result.birge_ratio, 2)),
  ];
}

export function showAnswer({ record, result }) {
  const answered = result.status === "ok";
  fill(byId("day-name"), record.name === record.day ? longDate(record.date) : `${record.name}, ${longDate(record.date)}`,
    !answered && record.spare_dates.length > 0 && `. ${word("nation.spare", { dates: record.spare_dates.map(longDate).join("; ") })}`);
  byId("day-state").hidden = record.state === "announced";
  fill(byId("day-state"), record.state !== "announced" && wordOf("nation.state_", record.state));
  fill(byId("figure"), answered ? measured(result.circumference_km, result.sigma_km, "km") : word("nation.no_figure"));
  const error = 100 * (result.circumference_km / result.handbook_km - 1);
  fill(byId("made-by"), answered
    ? [word("nation.made_by", { sites: countWord("nation.sites", result.sites) }), " ",
      word("nation.error", { percent: signed(error, 2), sigmas: number(Math.abs(result.circumference_km - result.handbook_km) / result.sigma_km, 1) }), " ",
      h("a", { href: "/method#sigma" }, word("nation.what_sigma"))]
    : wordOf("nation.status.", result.status));
  fill(byId("beside"), beside(result));
}

// How many, as they come in; what has grown since the last look is told. Pairs are
// counted later than the others.
let before = {};
export function showCounts(counts) {
  const rows = ["sites", "runs", "readings", "pairs"].map((what) => {
    const now = counts[what] ?? before[what];
    const grown = now - (before[what] ?? now);
    return h("div", { class: grown > 0 ? "grown" : null },
      h("dt", {}, wordOf("nation.count_", what)),
      h("dd", {}, now === undefined ? "…" : number(now), grown > 0 && h("span", { class: "sigma" }, ` +${number(grown)}`)));
  });
  fill(byId("counts"), rows);
  before = { ...before, ...counts };
}

// The newest edition of the day, when there is one.
export function showPublished([newest]) {
  fill(byId("published"), newest !== undefined && [
    h("a", { href: path`/editions/${newest.edition}` }, word("nation.published", { number: number(newest.edition) })), " ", measured(newest.circumference_km, newest.sigma_km, "km")]);
}
