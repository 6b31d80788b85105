// SPDX-License-Identifier: MIT
// The pictures of a day; loaded after its figures, for they weigh more.
import { showMap } from "./map_part.js";
import { showSlope } from "./slope_part.js";
import { showSpread } from "./spread_part.js";

// Unchanged figures are not drawn again, so that nobody loses what they look at.
let before = "";
export function show(day) {
  const now = JSON.stringify([day.result, day.counts, day.sites.map(({ site, state }) => [site, state])]);
  if (now === before) return;
  before = now;
  showMap(day);
  showSlope(day);
  showSpread(day);
}
