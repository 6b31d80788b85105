// SPDX-License-Identifier: MIT
// A section through the Earth along the meridian: two gnomons, the Sun's parallel rays,
// the arc between them and the angle at the centre. Angles are drawn as they are; where
// the two stand so near that nobody could see it, both are drawn apart about their
// middle, and the caption says how many times.
import { s } from "../house/dom.js";

const RADIUS = 150;
const GNOMON = 34;
const APART_DEG = 14; // drawn apart at least this far
const RAD = Math.PI / 180;

const at = (angle_deg, radius) => ({ x: radius * Math.cos(angle_deg * RAD), y: -radius * Math.sin(angle_deg * RAD) });
const move = ({ x, y }) => `${x.toFixed(2)},${y.toFixed(2)}`;

function arc(from_deg, to_deg, radius) {
  const [low, high] = [Math.min(from_deg, to_deg), Math.max(from_deg, to_deg)];
  return `M${move(at(low, radius))}A${radius},${radius} 0 ${high - low > 180 ? 1 : 0} 0 ${move(at(high, radius))}`;
}

// How many times the angle at the centre is drawn.
export const sectionFactor = (angle_deg) => (angle_deg >= APART_DEG ? 1 : Math.ceil(APART_DEG / angle_deg));

// The gnomon's foot is on the ground, its shadow falls along the ground to where the
// ray over its tip comes down.
function gnomon(lat_deg, sun_deg, name) {
  const foot = at(lat_deg, RADIUS);
  const tip = at(lat_deg, RADIUS + GNOMON);
  const zenith_deg = lat_deg - sun_deg;
  const length = Math.min(Math.abs(Math.tan(zenith_deg * RAD)), 2.2) * GNOMON;
  const side = Math.sign(zenith_deg);
  const along = { x: -Math.sin(lat_deg * RAD), y: -Math.cos(lat_deg * RAD) };
  const end = { x: foot.x + side * length * along.x, y: foot.y + side * length * along.y };
  const from = at(sun_deg, 1);
  const far = { x: tip.x + from.x * 95, y: tip.y + from.y * 95 };
  const label = at(lat_deg, RADIUS + GNOMON + 16);
  return [
    s("path", { class: "radius", d: `M0,0L${move(foot)}` }),
    s("path", { class: "ray", d: `M${move(far)}L${move(end)}` }),
    s("path", { class: "shadow", d: `M${move(foot)}L${move(end)}` }),
    s("path", { class: "gnomon", d: `M${move(foot)}L${move(tip)}` }),
    s("text", { x: label.x, y: label.y + (side > 0 ? -2 : 8), "text-anchor": "start", class: "site-mark" }, name),
  ];
}

// one, two: {lat_deg, mark}; declination_deg: of the Sun; words {angle, arc, label}.
export function section(one, two, declination_deg, words) {
  const middle = (one.lat_deg + two.lat_deg) / 2;
  const factor = sectionFactor(Math.abs(one.lat_deg - two.lat_deg));
  const drawn = (lat_deg) => middle + (lat_deg - middle) * factor;
  const lats = [drawn(one.lat_deg), drawn(two.lat_deg)];
  const label = at(middle, 74);
  const outside = at(middle, RADIUS - 15);
  return s("svg", { class: "section", viewBox: "-168 -192 400 384", role: "img", "aria-label": words.label },
    s("circle", { class: "earth", cx: 0, cy: 0, r: RADIUS }),
    s("path", { class: "axis", d: `M0,${-RADIUS - 14}V${RADIUS + 14}M${-RADIUS},0H${RADIUS}` }),
    s("path", { class: "wedge", d: `M0,0L${move(at(Math.min(...lats), RADIUS))}A${RADIUS},${RADIUS} 0 0 0 ${move(at(Math.max(...lats), RADIUS))}Z` }),
    s("path", { class: "arc", d: arc(lats[0], lats[1], RADIUS) }),
    s("path", { class: "angle", d: arc(lats[0], lats[1], 46) }),
    gnomon(lats[0], declination_deg, one.mark), gnomon(lats[1], declination_deg, two.mark),
    s("text", { class: "angle-label", x: label.x, y: label.y + 5, "text-anchor": "middle" }, words.angle),
    s("text", { class: "arc-label", x: outside.x, y: outside.y + 5, "text-anchor": "end" }, words.arc),
    s("text", { x: 6, y: -RADIUS - 18, class: "pole" }, words.north));
}
