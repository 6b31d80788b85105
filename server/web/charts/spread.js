// SPDX-License-Identifier: MIT
// How the pairs' circumferences spread: a histogram about the handbook's figure.
import * as Plot from "@observablehq/plot";

import { keepDrawn, settle } from "./base.js";

// spread: what spreadBins (bins.js) gave; rules: [{km, label, colour}].
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
