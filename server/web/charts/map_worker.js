// SPDX-License-Identifier: MIT
// Paints the map beside the page, which goes on meanwhile.
import { MapPicture } from "./map_picture.js";

let picture = null;
let coasts = null; // {coarse, fine}: addresses
const asked = new Set();

// A coastline that did not come is asked for again with the next picture.
async function fetchCoast(fine) {
  if (asked.has(fine)) return;
  asked.add(fine);
  try {
    const answer = await fetch(fine ? coasts.fine : coasts.coarse);
    if (!answer.ok) throw new Error(answer.statusText);
    picture.setCoast(fine, await answer.json());
    self.postMessage({ coast: true });
  } catch {
    asked.delete(fine);
  }
}

const tasks = {
  begin(given) {
    picture = new MapPicture(given.looks);
    coasts = given.coasts;
  },
  sites(day) {
    const places = picture.setSites(day);
    self.postMessage({ places }, [places.buffer]);
  },
  pairs: (pairs) => picture.setPairs(pairs),
  paint(wanted) {
    fetchCoast(wanted.fine);
    const bitmap = picture.paint(wanted);
    self.postMessage({ bitmap, ...wanted }, [bitmap]);
  },
};

self.onmessage = ({ data: { task, ...given } }) => tasks[task](given);
