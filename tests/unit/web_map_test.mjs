// SPDX-License-Identifier: MIT
// The map's view as plane geometry: what is looked at stays where it should under moves,
// zooms and a change of size; lines are cut to the picture; crowds are counted.
import assert from "node:assert/strict";
import test from "node:test";

import { inside, layDots, layLines } from "../../server/web/charts/crowd.js";
import { PLANE, extentOf, isRegional, markSize, moved, toScreen, wholeView, zoomed } from "../../server/web/charts/map_view.js";

const near = (one, two) => assert.ok(Math.abs(one - two) < 1e-9 * Math.max(Math.abs(two), 1), `${one} ${two}`);
const place = (lat_deg, lon_deg) => ({ lat_deg, lon_deg });

test("an extent lies about its places, also across the date line", () => {
  const { lon, lat, span } = extentOf([place(-10, 178), place(-20, -176), place(-16, 179)]);
  near(lon, 181);
  near(lat, -15);
  near(span, 10);
  assert.ok(isRegional(extentOf([place(-55, -70), place(-20, -60)])));
  assert.ok(!isRegional(extentOf([place(50, -120), place(-40, 150), place(0, 20)])));
  assert.equal(extentOf([place(3, 4)]).span, 2); // one school is no point without a country about it
});

test("the whole of a region fits the shorter way", () => {
  // Lambert's azimuthal projection: a point z from the middle lies 2 sin(z/2) from it
  // (Snyder, Map Projections: A Working Manual, USGS 1987, equation 24-1, from memory).
  const extent = extentOf([place(-30, 20), place(-10, 20)]);
  const view = wholeView(extent, 800, 600);
  const edge = PLANE * 2 * Math.sin((10 * Math.PI) / 180 / 2);
  const { y } = toScreen(view, 0, edge, 800, 600);
  assert.ok(y > 540 && y < 600, String(y));
});

test("zooming keeps the point under the hand, moving moves by what was asked", () => {
  const extent = extentOf([place(-30, 20), place(-10, 20)]);
  const view = moved(wholeView(extent, 800, 600), extent, 37, -21);
  const held = { x: 120, y: -80 }; // off the middle, px
  const plane = { x: view.x + held.x / view.scale, y: view.y + held.y / view.scale };
  const closer = zoomed(view, extent, 3, held.x, held.y);
  const now = toScreen(closer, plane.x, plane.y, 800, 600);
  near(now.x, 400 + held.x);
  near(now.y, 300 + held.y);
  const shifted = toScreen(moved(view, extent, 50, 10), plane.x, plane.y, 800, 600);
  near(shifted.x, 400 + held.x - 50);
  near(shifted.y, 300 + held.y - 10);
  assert.equal(zoomed(view, extent, 1e9).zoom, 60);
  assert.ok(Math.abs(moved(view, extent, 1e9, -1e9).x) < 2 * PLANE);
});

test("marks leave room for each other", () => {
  const view = { zoom: 1 };
  assert.ok(markSize(view, 24, 320, 340) > 5);
  // As circles they cover less than a third of the picture, however many.
  for (const sites of [500, 5000]) for (const [width, height] of [[320, 340], [860, 640]])
    assert.ok(sites * Math.PI * markSize(view, sites, width, height) ** 2 < 0.3 * width * height, `${sites} ${width}`);
  assert.ok(markSize({ zoom: 4 }, 5000, 320, 340) > markSize(view, 5000, 320, 340));
});

test("a line is cut to the picture", () => {
  assert.deepEqual(inside(-10, 5, 40, 0, 20, 10), [0.25, 0.75]);
  assert.deepEqual(inside(5, 5, 1, 1, 20, 10), [0, 1]);
  assert.equal(inside(-10, 20, 40, 0, 20, 10), null);
  assert.equal(inside(-10, 5, 5, 0, 20, 10), null);
});

test("a crowd of lines and dots colours what it covers, more where there is more", () => {
  const image = () => ({ width: 20, height: 10, data: new Uint8ClampedArray(20 * 10 * 4) });
  const alpha = ({ data }, x, y) => data[4 * (y * 20 + x) + 3];
  const once = image();
  layLines(once, [{ lines: [-100, 5, 100, 5], colour: "#0072B2" }]);
  assert.deepEqual([...once.data.slice(4 * (5 * 20 + 7), 4 * (5 * 20 + 7) + 3)], [0, 0x72, 0xb2]);
  assert.equal(once.data.filter((value, i) => i % 4 === 3 && value > 0).length, 20); // one row, from rim to rim
  const twice = image();
  layLines(twice, [{ lines: [-100, 5, 100, 5, 7, -50, 7, 50], colour: "#0072B2" }]);
  assert.ok(alpha(twice, 7, 5) > alpha(once, 7, 5));
  assert.equal(alpha(twice, 7, 9), alpha(once, 7, 5));
  const dots = image();
  layDots(dots, [10, 5, -30, 5], 2, "#D55E00");
  assert.equal(dots.data.filter((value, i) => i % 4 === 3 && value > 0).length, 13); // lattice points within 2 of one: Gauss's circle problem, N(2) = 13
});
