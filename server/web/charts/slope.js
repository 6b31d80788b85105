// SPDX-License-Identifier: MIT
// Noon angle against distance along the meridian: the country's one straight line,
// whose slope is the answer, and below it how far each site lies from the line.
import * as Plot from "@observablehq/plot";

import { fill, h, s } from "../house/dom.js";
import { pause } from "../house/pause.js";
import { OKABE_ITO, canvasUnder, keepDrawn, settle } from "./base.js";
import { layDots } from "./crowd.js";

const CLOUD = 300; // more points than this are counted a pixel, and have no bars, which would only smear
const CLOUD_PX = 2;

export const SLOPE_LOOK = {
  used: { shape: "circle", colour: OKABE_ITO.blue },
  left_out: { shape: "diamond", colour: OKABE_ITO.vermillion },
};

const span = (values) => values.reduce(([low, high], value) => [Math.min(low, value), Math.max(high, value)], [Infinity, -Infinity]);

// The straight pieces of the line, one a noon, through angle less residual.
function pieces(points) {
  const ends = new Map();
  for (const point of points) {
    if (point.residual_deg === null || point.left_out !== "") continue;
    const end = ends.get(point.noon) ?? { low: point, high: point };
    if (point.meridian_km < end.low.meridian_km) end.low = point;
    if (point.meridian_km > end.high.meridian_km) end.high = point;
    ends.set(point.noon, end);
  }
  const on = (point) => ({ x: point.meridian_km, y: point.noon_angle_deg - point.residual_deg });
  return [...ends.values()].map(({ low, high }) => [on(low), on(high)]);
}

// Few points as marks of the drawing, with their bars where they are wanted; those that
// were left out always.
function marksOf(points, y, bar) {
  const out = points.filter((point) => point.left_out !== "");
  const used = points.length > CLOUD ? [] : points.filter((point) => point.left_out === "");
  const r = Math.max(5.2 - Math.log10(points.length + 1) * 0.9, 2);
  const at = { x: "meridian_km", y, stroke: "currentColor", strokeWidth: 0.7 };
  return [
    bar ? Plot.ruleX([...used, ...out], { x: "meridian_km", y1: (point) => y(point) - point.sigma_deg, y2: (point) => y(point) + point.sigma_deg, strokeOpacity: 0.6 }) : null,
    Plot.dot(used, { ...at, r, fill: SLOPE_LOOK.used.colour }),
    Plot.dot(out, { ...at, r: r + 1.5, symbol: SLOPE_LOOK.left_out.shape, fill: SLOPE_LOOK.left_out.colour }),
  ];
}

// Many points as one cloud on a canvas below the drawing.
function paintCloud(points, y, drawing) {
  const left = drawing.scale("x");
  const up = drawing.scale("y");
  return (context, fineness) => {
    const cloud = new ImageData(context.canvas.width, context.canvas.height);
    const spots = [];
    for (const point of points) if (point.left_out === "") spots.push(left.apply(point.meridian_km) * fineness, up.apply(y(point)) * fineness);
    layDots(cloud, spots, CLOUD_PX * fineness, SLOPE_LOOK.used.colour);
    context.putImageData(cloud, 0, 0);
  };
}

function picture(points, width, height, options, y, yLabel, marks, domain, bar) {
  const shown = points.filter((point) => y(point) !== null);
  const drawing = Plot.plot({
    width,
    height,
    marginLeft: 52,
    marginRight: 14,
    marginBottom: 44,
    marginTop: 22,
    style: { fontSize: "13px", background: "none" },
    x: { label: options.words.x, tickFormat: options.tick, nice: true, domain: options.domainX, ticks: width < 500 ? 4 : 8 },
    y: { label: yLabel, grid: true, tickFormat: options.tick, domain: domain ?? span(shown.map(y)), nice: true },
    marks: [...marks, ...marksOf(shown, y, bar && points.length <= CLOUD)],
  });
  settle(drawing, options.words.label);
  const cloud = points.length > CLOUD && canvasUnder(width, height, paintCloud(shown, y, drawing));
  return { frame: h("div", { class: "overlaid" }, cloud, drawing), x: drawing.scale("x") };
}

// Short gnomons under the line, each with the shadow that its noon throws: the same
// angles as they stand on the ground. North is to the right, so that a shadow falls
// away from the Sun as it does beside the axis.
const GNOMON_PX = 26;
function gnomons(line, width, scale) {
  const [from, to] = [...line].sort((a, b) => a.x - b.x);
  const stands = Math.max(Math.floor(width / 150), 3);
  const marks = Array.from({ length: stands }, (_, i) => {
    const share = stands === 1 ? 0 : i / (stands - 1);
    const foot = scale.apply(from.x + share * (to.x - from.x));
    const angle_deg = from.y + share * (to.y - from.y);
    const reach = Math.max(Math.min(Math.tan((angle_deg * Math.PI) / 180), 2.4), -2.4) * GNOMON_PX;
    return [
      s("path", { d: `M${foot},36h${reach}`, stroke: "var(--shadow)", "stroke-width": 4 }),
      s("path", { d: `M${foot},${36 - GNOMON_PX}L${foot + reach},36`, stroke: "var(--ochre)", "stroke-width": 1, "stroke-dasharray": "2 3" }),
      s("path", { d: `M${foot},36V${36 - GNOMON_PX}`, stroke: "currentColor", "stroke-width": 2.5 }),
    ];
  });
  return s("svg", { class: "gnomons", width, height: 42, viewBox: `0 0 ${width} 42`, "aria-hidden": "true" },
    s("path", { d: `M0,36H${width}`, stroke: "currentColor", "stroke-width": 0.7 }), marks);
}

// points: rows of line.csv; options: words {x, y, residual, label, residualLabel}, tick
// (numbers as the language writes them), slopeWords: what stands along the line. One
// picture below the other, and a pause between them.
export async function slopeChart(host, points, options) {
  const lines = pieces(points);
  const domainX = span(points.map((point) => point.meridian_km));
  const margin = Math.max((domainX[1] - domainX[0]) * 0.04, 5);
  const given = { ...options, domainX: [domainX[0] - margin, domainX[1] + margin] };
  const used = points.filter((point) => point.left_out === "" && point.residual_deg !== null);
  const widest = Math.max(0.02, ...used.map((point) => Math.abs(point.residual_deg) + (points.length <= CLOUD ? point.sigma_deg : 0)));
  const [above, below] = [h("div"), h("div")];
  fill(host, above, below);
  keepDrawn(above, (width) => {
    const height = Math.round(Math.min(Math.max(width * 0.62, 280), 460));
    const middle = lines.length === 0 ? [] : [{ x: (lines[0][0].x + lines[0][1].x) / 2, y: (lines[0][0].y + lines[0][1].y) / 2 }];
    const { frame, x } = picture(points, width, height, given, (point) => point.noon_angle_deg, options.words.y, [
      ...lines.map((line) => Plot.line(line, { x: "x", y: "y", stroke: "var(--ochre)", strokeWidth: 2.5 })),
      Plot.text(middle, { x: "x", y: "y", text: () => options.slopeWords, dx: -8, dy: -14, textAnchor: "end", fontWeight: 650, fontSize: width < 500 ? 13 : 15, fill: "currentColor", stroke: "var(--paper)", strokeWidth: 5 }),
    ], undefined, false);
    return lines.length === 0 ? frame : [frame, gnomons(lines[0], width, x)];
  });
  if (used.length === 0) return;
  await pause();
  keepDrawn(below, (width) => {
    const inside = points.filter((point) => point.residual_deg !== null && Math.abs(point.residual_deg) <= widest);
    return picture(inside, width, 190, { ...given, words: { ...options.words, label: options.words.residualLabel } },
      (point) => point.residual_deg, options.words.residual,
      [Plot.ruleY([0], { stroke: "var(--ochre)", strokeWidth: 2.5 })], [-widest, widest], true).frame;
  });
}
