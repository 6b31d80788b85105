// SPDX-License-Identifier: MIT
// How the pairs' circumferences spread about the handbook's figure.
import { OKABE_ITO } from "../charts/base.js";
import { spreadBins } from "../charts/bins.js";
import { spreadChart } from "../charts/spread.js";
import { tableBeside } from "../charts/table.js";
import { byId, fill, h } from "../house/dom.js";
import { countWord, number } from "../house/format.js";
import { word } from "../house/words.js";
import { tick } from "./slope_part.js";

const FEWEST = 5; // pairs that make a distribution

export function showSpread({ result }, { circumference_km, state }) {
  const values = circumference_km.filter((_, i) => state[i] > 0);
  byId("spread").hidden = values.length < FEWEST;
  if (values.length < FEWEST) return;
  const spread = spreadBins(values, result.handbook_km);
  const inside = values.filter((value) => Math.abs(value / result.handbook_km - 1) < 0.01).length;
  fill(byId("spread-words"), word("nation.spread_is", { count: number(values.length), inside: number(Math.round((100 * inside) / values.length)) }), " ",
    spread.below + spread.above > 0 && word("nation.spread_beyond", { below: number(spread.below), above: number(spread.above) }));
  const rules = [{ km: result.handbook_km, label: word("nation.rule_handbook"), colour: "var(--ochre)" }];
  if (result.status === "ok") rules.push({ km: result.circumference_km, label: word("nation.rule_result"), colour: OKABE_ITO.vermillion, dash: "7 4" });
  const inner = h("div");
  fill(byId("spread-chart"), inner);
  spreadChart(inner, spread, rules, {
    tick, words: { x: word("nation.axis_circumference"), y: word("nation.axis_pairs"), label: word("nation.spread_label", { pairs: countWord("nation.pairs", values.length) }) },
  });
  fill(byId("spread-table"), tableBeside(word("nation.table_spread"), [
    [word("nation.from_km"), (bin) => number(bin.from), true],
    [word("nation.to_km"), (bin) => number(bin.to), true],
    [word("nation.axis_pairs"), (bin) => number(bin.count), true],
  ], () => spread.bins));
}
