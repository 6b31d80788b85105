// SPDX-License-Identifier: MIT
// How the pairs' circumferences spread: a histogram about the handbook's figure. What
// lies far outside is counted at the ends, in so many words, and never dropped.
import * as Plot from "@observablehq/plot";

import { keepDrawn, settle } from "./base.js";

const BINS = 31;
const FENCE = 3; // so many quartile distances beyond the quartiles a value is far outside (Tukey 1977)

function quantile(sorted, share) {
  return sorted[Math.min(Math.max(Math.round(share * (sorted.length - 1)), 0), sorted.length - 1)];
}

// Steps that people count in.
function stepFor(span) {
  const raw = span / BINS;
  const power = 10 ** Math.floor(Math.log10(raw));
  return power * [1, 2, 5, 10].find((factor) => factor * power >= raw);
}

// values: km. Returns {bins: [{from, to, count}], below, above, step}: all values are
// in a bin or counted beside them.
export function spreadBins(values, handbook) {
  const sorted = [...values].sort((a, b) => a - b);
  const [first, third] = [quantile(sorted, 0.25), quantile(sorted, 0.75)];
  const reach = FENCE * (third - first);
  const low = Math.min(Math.max(sorted[0], first - reach), handbook);
  const high = Math.max(Math.min(sorted.at(-1), third + reach), handbook);
  const step = stepFor(Math.max(high - low, 10));
  const from = Math.floor(low / step) * step;
  const count = Math.floor(high / step) - Math.floor(low / step) + 1;
  const bins = Array.from({ length: count }, (_, i) => ({ from: from + i * step, to: from + (i + 1) * step, count: 0 }));
  let below = 0;
  let above = 0;
  for (const value of sorted) {
    const i = Math.floor((value - from) / step);
    if (i < 0) below++;
    else if (i >= count) above++;
    else bins[i].count++;
  }
  return { bins, below, above, step };
}

// spread: what spreadBins gave; rules: [{km, label, colour}].
export function spreadChart(host, spread, rules, options) {
  const { bins } = spread;
  const most = Math.max(...bins.map((bin) => bin.count));
  return keepDrawn(host, (width) =>
    settle(Plot.plot({
      width,
      height: Math.round(Math.min(Math.max(width * 0.5, 260), 380)),
      marginLeft: 48,
      marginTop: 24 + 18 * rules.length,
      marginBottom: 44,
      style: { fontSize: "13px", background: "none" },
      x: { label: options.words.x, tickFormat: options.tick, domain: [bins[0].from, bins.at(-1).to], ticks: width < 500 ? 4 : 8 },
      y: { label: options.words.y, grid: true, domain: [0, most], nice: true, tickFormat: (count) => (Number.isInteger(count) ? options.tick(count) : "") },
      marks: [
        Plot.rectY(bins, { x1: "from", x2: "to", y: "count", fill: "var(--shadow)", inset: 0.5 }),
        ...rules.map((rule) => Plot.ruleX([rule], { x: "km", stroke: rule.colour, strokeWidth: 2.2, strokeDasharray: rule.dash, insetTop: -6 })),
        ...rules.map((rule, i) => Plot.text([rule], { x: "km", frameAnchor: "top", dy: -14 - 18 * i, text: "label", fill: "currentColor", fontWeight: 600, textAnchor: rule.km > (bins[0].from + bins.at(-1).to) / 2 ? "end" : "start", stroke: "var(--paper)", strokeWidth: 4 })),
        Plot.ruleY([0]),
      ],
    }), options.words.label));
}
