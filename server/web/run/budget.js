// SPDX-License-Identifier: MIT
// What the uncertainty is made of: a table whose rows carry their own bar. Parts add in
// squares, so the largest rules.
import { table } from "../charts/table.js";
import { fill, h, s } from "../house/dom.js";
import { number } from "../house/format.js";
import { word, wordOf } from "../house/words.js";

const PARTS = ["random_deg", "clock_deg", "height_deg", "tilt_deg", "edge_deg", "air_deg"];
const ROUNDED = "position_deg"; // only where the school lets its position out rounded
const WIDTH = 160;

function bar(share) {
  return s("svg", { class: "whisker", viewBox: `0 0 ${WIDTH} 18`, width: WIDTH, height: 18, "aria-hidden": "true" },
    s("rect", { x: 0, y: 3, width: Math.max(share * WIDTH, 1), height: 12, fill: "var(--shadow)" }),
    s("path", { d: "M0.5,0V18", stroke: "currentColor" }));
}

export function showBudget(place, { reduction }) {
  const parts = reduction.budget[ROUNDED] > 0 ? [...PARTS, ROUNDED] : PARTS;
  const rows = parts.map((part) => ({ part, deg: reduction.budget[part] ?? 0 })).sort((a, b) => b.deg - a.deg);
  const whole = reduction.sigma_deg ** 2;
  fill(place,
    h("p", {}, word("run.budget_words", { sigma: number(reduction.sigma_deg, 3), largest: wordOf("run.budget_", rows[0].part) })),
    table(word("run.budget_title"), [
      [word("run.budget_part"), (row) => wordOf("run.budget_", row.part)],
      [word("run.budget_deg"), (row) => number(row.deg, 4), true],
      [word("run.budget_share"), (row) => number((100 * row.deg ** 2) / whole), true],
      [word("run.budget_bar"), (row) => bar(row.deg / rows[0].deg || 0)],
    ], rows));
}

const WAYS = ["solar", "timed", "free", "shortest"];
export function showWays(place, { reduction }) {
  const rows = WAYS.filter((way) => reduction.estimates[way] !== null).map((way) => ({ way, ...reduction.estimates[way] }));
  fill(place, table(word("run.ways_title"), [
    [word("run.way"), (row) => [row.way === reduction.estimator ? h("strong", {}, wordOf("run.way_", row.way)) : wordOf("run.way_", row.way)]],
    [word("run.noon_angle_deg"), (row) => number(row.noon_angle_deg, 3), true],
    ["σ, °", (row) => number(row.sigma_deg, 3), true],
  ], rows));
}
