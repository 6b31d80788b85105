// SPDX-License-Identifier: MIT
// One row's circumference as a point with its uncertainty, beside the handbook's line:
// small enough for the cell of a table, on a scale that all rows share.
import { s } from "../house/dom.js";
import { OKABE_ITO, shapeNode } from "./base.js";

const WIDTH = 220;
const HEIGHT = 26;

// The scale for a set of rows: symmetric about the handbook, wide enough for most; who
// lies beyond gets an arrow at the edge.
export function whiskerScale(rows, handbook) {
  const reach = rows
    .map((row) => Math.abs(row.circumference_km - handbook) + (row.sigma_km ?? 0))
    .sort((a, b) => a - b);
  const half = Math.max(3 * (reach[Math.floor(reach.length / 2)] ?? 100), 50);
  return { handbook, half, place: (km) => WIDTH / 2 + (Math.min(Math.max((km - handbook) / half, -1), 1) * (WIDTH - 16)) / 2 };
}

export function whisker(row, scale) {
  const { place, half, handbook } = scale;
  const sigma = row.sigma_km ?? 0;
  const outside = Math.abs(row.circumference_km - handbook) > half;
  const surprising = row.error_sigmas !== null && Math.abs(row.error_sigmas) > 2;
  const colour = surprising ? OKABE_ITO.vermillion : OKABE_ITO.blue;
  const shape = surprising ? "diamond" : "circle";
  const middle = HEIGHT / 2;
  return s("svg", { class: "whisker", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, width: WIDTH, height: HEIGHT, "aria-hidden": "true" },
    s("line", { x1: WIDTH / 2, x2: WIDTH / 2, y1: 0, y2: HEIGHT, stroke: "var(--ochre)", "stroke-width": 2 }),
    s("line", { x1: place(row.circumference_km - sigma), x2: place(row.circumference_km + sigma), y1: middle, y2: middle, stroke: "currentColor", "stroke-width": 1.6 }),
    ...[-1, 1].map((side) => s("line", { x1: place(row.circumference_km + side * sigma), x2: place(row.circumference_km + side * sigma), y1: middle - 5, y2: middle + 5, stroke: "currentColor", "stroke-width": 1.6 })),
    outside
      ? s("text", { x: place(row.circumference_km), y: middle + 5, "text-anchor": row.circumference_km > handbook ? "end" : "start", fill: "currentColor", "font-size": 14 }, row.circumference_km > handbook ? "▸" : "◂")
      : shapeNode(shape, place(row.circumference_km), middle, 5, { fill: colour, stroke: "currentColor", "stroke-width": 0.7 }));
}
