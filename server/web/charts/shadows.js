// SPDX-License-Identifier: MIT
// The run's picture: shadow against time, the curve through it, noon with its
// uncertainty, and the readings that were left out, each tied to where it would have
// been.
import * as Plot from "@observablehq/plot";

import { OKABE_ITO, keepDrawn, settle } from "./base.js";

export const SHADOW_LOOK = {
  used: { shape: "circle", colour: OKABE_ITO.blue },
  left_out: { shape: "cross", colour: OKABE_ITO.vermillion },
  instead: { shape: "ring", colour: OKABE_ITO.vermillion },
};

// readings: {ms, shadow_mm, left_out, instead_mm, name}; curve: [{ms, shadow_mm}];
// noon: {ms, shadow_mm, low_mm, high_mm, label}; options: words {x, y, label}, tick
// (a time), figure (a number). Times as milliseconds since 1970 UTC.
export function shadowChart(host, { readings, curve, noon }, options) {
  const used = readings.filter((reading) => !reading.left_out);
  const out = readings.filter((reading) => reading.left_out);
  const inside = (reading) => Math.abs(reading.shadow_mm - noon.shadow_mm) <= reach;
  // What was left out may lie far outside; it is then named at the rim.
  const kept = [...used.map((reading) => reading.shadow_mm), ...curve.map((point) => point.shadow_mm), noon.low_mm, noon.high_mm];
  const low = Math.min(...kept);
  const high = Math.max(...kept);
  const reach = Math.max(high - low, 4) * 1.5;
  const near = out.filter(inside);
  const rim = out.filter((reading) => !inside(reading)).map((reading) => ({ ...reading, at_mm: reading.shadow_mm > noon.shadow_mm ? noon.shadow_mm + reach : noon.shadow_mm - reach }));
  const ys = [...kept, ...near.map((reading) => reading.shadow_mm), ...rim.map((reading) => reading.at_mm)];
  const share = (noon.ms - curve[0].ms) / (curve.at(-1).ms - curve[0].ms);
  return keepDrawn(host, (width) => settle(Plot.plot({
    width,
    height: Math.round(Math.min(Math.max(width * 0.62, 300), 470)),
    marginLeft: 56,
    marginRight: 16,
    marginTop: 40,
    marginBottom: 44,
    style: { fontSize: "13px", background: "none" },
    x: { type: "utc", label: options.words.x, tickFormat: options.tick, ticks: width < 500 ? 4 : 8 },
    y: { label: options.words.y, grid: true, tickFormat: options.figure, domain: [Math.min(...ys), Math.max(...ys)], nice: true },
    marks: [
      Plot.ruleX([noon.ms], { stroke: "var(--ochre)", strokeWidth: 1.5 }),
      Plot.text([noon], { x: "ms", frameAnchor: "top", dy: -16, text: "label", fontWeight: 650, fill: "currentColor", textAnchor: share < 0.3 ? "start" : share > 0.7 ? "end" : "middle" }),
      Plot.line(curve, { x: "ms", y: "shadow_mm", stroke: "var(--shadow)", strokeWidth: 2.5 }),
      Plot.link([noon], { x: "ms", y1: "low_mm", y2: "high_mm", stroke: "var(--ochre)", strokeWidth: 7, strokeOpacity: 0.75 }),
      Plot.link(near.filter((reading) => reading.instead_mm !== null), { x: "ms", y1: "shadow_mm", y2: "instead_mm", stroke: OKABE_ITO.vermillion, strokeDasharray: "3 3" }),
      Plot.dot(near.filter((reading) => reading.instead_mm !== null), { x: "ms", y: "instead_mm", r: 5, stroke: OKABE_ITO.vermillion, fill: "none", strokeWidth: 1.5 }),
      Plot.dot(used, { x: "ms", y: "shadow_mm", r: 5, fill: OKABE_ITO.blue, stroke: "currentColor", strokeWidth: 0.8 }),
      Plot.dot(near, { x: "ms", y: "shadow_mm", r: 5, symbol: "times", stroke: OKABE_ITO.vermillion, strokeWidth: 2.4 }),
      Plot.dot(rim, { x: "ms", y: "at_mm", r: 5, symbol: "times", stroke: OKABE_ITO.vermillion, strokeWidth: 2.4 }),
      Plot.text(rim, { x: "ms", y: "at_mm", dx: 9, text: (reading) => `${options.figure(reading.shadow_mm)} mm ${reading.at_mm > noon.shadow_mm ? "↑" : "↓"}`, textAnchor: "start", fill: "currentColor" }),
      Plot.text(out.filter(inside), { x: "ms", y: "shadow_mm", dy: -13, text: "name", fill: "currentColor", fontWeight: 600, stroke: "var(--paper)", strokeWidth: 4 }),
    ],
  }), options.words.label));
}
