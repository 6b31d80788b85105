// SPDX-License-Identifier: MIT
// land: a coarse grid of where there is land, as a C table, from Natural Earth's land at
// 1:10 million (public domain) as npm's world-atlas carries it. A cell counts when any
// land lies in it or in one of its eight neighbours, so that no coast, island or rounded
// position is taken for sea.
//
//   node land.mjs NODE_MODULES OUT.c
import { readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { resolve } from "node:path";

const [modules, out] = process.argv.slice(2);
const require = createRequire(resolve(modules, "land.js"));
const { feature } = require("topojson-client");
const atlas = JSON.parse(readFileSync(require.resolve("world-atlas/land-10m.json"), "utf8"));

const PER_DEGREE = 4;
const COLUMNS = 360 * PER_DEGREE, ROWS = 180 * PER_DEGREE;
const land = new Uint8Array(COLUMNS * ROWS);

const column = (lon) => ((Math.floor((lon + 180) * PER_DEGREE) % COLUMNS) + COLUMNS) % COLUMNS;
const row = (lat) => Math.min(ROWS - 1, Math.max(0, Math.floor((lat + 90) * PER_DEGREE)));

// The atlas sews its lands together across 180 degrees: longitudes are run on, and a ring
// that goes round the globe is closed by way of its pole.
const unrolled = (ring) => {
  const points = [ring[0]];
  for (let i = 1; i < ring.length; i++) {
    const before = points[i - 1][0];
    points.push([before + ((((ring[i][0] - before + 180) % 360) + 360) % 360) - 180, ring[i][1]]);
  }
  const [first, last] = [points[0], points[points.length - 1]];
  if (Math.abs(last[0] - first[0]) > 180) points.push([last[0], -90], [first[0], -90], first);
  return points;
};

// Outer coasts only: what lies within a land's coast, its seas too, counts as land. The
// map has a grain of an island at 0, 0, where there is none.
const rings = feature(atlas, atlas.objects.land).features
  .flatMap(({ geometry }) => geometry.type === "Polygon" ? [geometry.coordinates] : geometry.coordinates)
  .map(([outer]) => unrolled(outer))
  .filter((ring) => !ring.every(([x, y]) => Math.hypot(x, y) < 0.1));

for (const ring of rings) {
  const crossings = new Map();
  for (let i = 1; i < ring.length; i++) {
    const [[x0, y0], [x1, y1]] = [ring[i - 1], ring[i]];
    const steps = Math.max(1, Math.ceil(Math.max(Math.abs(x1 - x0), Math.abs(y1 - y0)) * PER_DEGREE * 5));
    for (let k = 0; k <= steps; k++) // the coast, in steps of a fifth of a cell
      land[row(y0 + (y1 - y0) * k / steps) * COLUMNS + column(x0 + (x1 - x0) * k / steps)] = 1;
    for (let r = row(Math.min(y0, y1)); r <= row(Math.max(y0, y1)); r++) {
      const middle = (r + 0.5) / PER_DEGREE - 90;
      if ((y0 <= middle) !== (y1 <= middle))
        crossings.set(r, [...(crossings.get(r) ?? []), x0 + (x1 - x0) * (middle - y0) / (y1 - y0)]);
    }
  }
  for (const [r, xs] of crossings) { // what lies within, along the middle of each row of cells
    xs.sort((a, b) => a - b);
    for (let i = 0; i + 1 < xs.length; i += 2)
      for (let x = xs[i]; x < xs[i + 1]; x += 1 / PER_DEGREE) land[r * COLUMNS + column(x)] = 1;
  }
}

const near = (r, c) => {
  for (let y = Math.max(0, r - 1); y <= Math.min(ROWS - 1, r + 1); y++)
    for (let x = c - 1; x <= c + 1; x++) if (land[y * COLUMNS + (x + COLUMNS) % COLUMNS]) return true;
  return false;
};
const stretches = [], begins = [0];
for (let r = 0; r < ROWS; r++) {
  for (let c = 0; c < COLUMNS; c++) {
    const from = c;
    while (c < COLUMNS && near(r, c)) c++;
    if (c > from) stretches.push(from, c);
  }
  begins.push(stretches.length);
}
if (stretches.length < 2000) throw new Error("there is hardly any land: is the atlas another one?");

const lines = (numbers) => numbers.reduce((text, n, i) => text + (i % 16 ? " " : "\n    ") + n + ",", "");
writeFileSync(out, `#include "server/rules/land.h"
const int land_cells_per_degree = ${PER_DEGREE};
const unsigned short land_begin[] = {${lines(begins)}
};
const unsigned short land_stretch[] = {${lines(stretches)}
};
`);
