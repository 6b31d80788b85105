// SPDX-License-Identifier: MIT
// The growing curve of a run: pins where and when they were set, the curve through
// them as far as they reach, the line of noon. Drawn by hand, since the playground
// loads it over the slowest network of all and works without one.

import { fill, s } from "./dom.js";
import { clockMinute, number } from "./format.js";
import { word } from "./words.js";

const WIDTH = 360;
const HEIGHT = 210;
const EDGE = { left: 44, right: 10, top: 16, bottom: 26 };
const MINUTE_MS = 60000;
const STEPS_MIN = [1, 2, 5, 10, 15, 30, 60, 120];
const TICKS = 4;

function niceStep(span) {
  const power = 10 ** Math.floor(Math.log10(span / TICKS));
  return [1, 2, 5, 10].map((digit) => digit * power).find((step) => span / step <= TICKS);
}

const ticks = (low, high, step) => {
  const found = [];
  for (let at = Math.ceil(low / step) * step; at <= high; at += step) found.push(at);
  return found;
};

function range(values, least) {
  const low = Math.min(...values);
  const high = Math.max(...values);
  const room = Math.max((high - low) * 0.12, (least - (high - low)) / 2);
  return [low - room, high + room];
}

// points: {ms, mm, out}; curve: [[ms, mm]]; noon_ms or null; zone as in format.js.
export function drawCurve(svg, { points, curve, noon_ms, zone }) {
  svg.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
  if (points.length === 0) {
    fill(svg);
    return;
  }
  const nearNoon = noon_ms !== null && points.some(({ ms }) => Math.abs(ms - noon_ms) < 150 * MINUTE_MS);
  const [from, to] = range([...points.map(({ ms }) => ms), ...(nearNoon ? [noon_ms] : [])], 20 * MINUTE_MS);
  // A stray does not flatten the others: it stands at the edge it lies beyond.
  const sound = points.filter(({ out }) => !out);
  const [low, high] = range((sound.length > 0 ? sound : points).map(({ mm }) => mm), 20);
  const x = (ms) => EDGE.left + ((ms - from) / (to - from)) * (WIDTH - EDGE.left - EDGE.right);
  const within = (mm) => Math.min(Math.max(mm, low), high);
  const y = (mm) => HEIGHT - EDGE.bottom - ((mm - low) / (high - low)) * (HEIGHT - EDGE.top - EDGE.bottom);
  const ground = HEIGHT - EDGE.bottom;
  const minutes = STEPS_MIN.find((step) => (to - from) / (step * MINUTE_MS) <= TICKS + 1) ?? 240;
  fill(svg,
    s("path", { class: "ground", d: `M${EDGE.left} ${ground}H${WIDTH - EDGE.right}` }),
    ticks(from, to, minutes * MINUTE_MS).map((ms) => [
      s("path", { class: "tick", d: `M${x(ms)} ${ground}v5` }),
      s("text", { x: x(ms), y: HEIGHT - 7, "text-anchor": "middle" }, clockMinute(ms, zone)),
    ]),
    ticks(low, high, niceStep(high - low)).map((mm) => [
      s("path", { class: "hair", d: `M${EDGE.left} ${y(mm)}H${WIDTH - EDGE.right}` }),
      s("text", { x: EDGE.left - 6, y: y(mm) + 4, "text-anchor": "end" }, number(mm)),
    ]),
    s("text", { x: 2, y: 10 }, word("play.axis_shadow")),
    nearNoon && [
      s("path", { class: "noon", d: `M${x(noon_ms)} ${EDGE.top - 4}V${ground + 5}` }),
      s("text", { x: x(noon_ms) + 4, y: EDGE.top + 4 }, word("play.noon")),
    ],
    curve.length > 1 && s("path", { class: "fitted", d: `M${curve.map(([ms, mm]) => `${x(ms).toFixed(1)} ${y(mm).toFixed(1)}`).join("L")}` }),
    points.map(({ ms, mm, out }) => (out
      ? s("path", { class: "stray", d: `M${x(ms) - 5} ${y(within(mm)) - 5}l10 10m0 -10l-10 10` })
      : s("path", { class: "pin", d: `M${x(ms)} ${y(mm) - 8}v16` }))));
}
