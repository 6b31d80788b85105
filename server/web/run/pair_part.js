// SPDX-License-Identifier: MIT
// A pair: the section through the Earth, the sum that makes the circumference, and how
// it stands beside the handbook.
import { section, sectionFactor } from "../charts/section.js";
import { whisker, whiskerScale } from "../charts/whisker.js";
import { fill, h } from "../house/dom.js";
import { measured, number, signed, withSigma } from "../house/format.js";
import { word, wordOf } from "../house/words.js";

// one, two: {name, lat_deg, noon_angle_deg, sigma_deg}; one is the northern.
export function showPair(place, pair, first, second, declination_deg, handbook_km) {
  const [north, south] = first.lat_deg >= second.lat_deg ? [first, second] : [second, first];
  const factor = sectionFactor(Math.abs(north.lat_deg - south.lat_deg));
  const angle = withSigma(pair.angle_deg, pair.angle_sigma_deg);
  const answered = pair.circumference_km !== null;
  const drawing = section({ lat_deg: north.lat_deg, mark: "1" }, { lat_deg: south.lat_deg, mark: "2" }, declination_deg, {
    angle: `${angle.value}°`, arc: `${number(pair.separation_km)} km`, north: word("pair.north"),
    label: word("pair.section_label", { one: north.name, two: south.name, angle: angle.value, km: number(pair.separation_km) }),
  });
  const bar = answered && whisker(pair, whiskerScale([pair], handbook_km));
  fill(place,
    h("div", { class: "pair-place" },
      h("figure", {}, drawing, h("figcaption", {}, word("pair.caption", { one: north.name, two: south.name }),
        factor > 1 && ` ${word("pair.factor", { factor: number(factor) })}`)),
      h("ol", { class: "board" },
        h("li", {}, h("p", {}, word("pair.noon_at", { school: north.name, mark: 1 })), h("p", { class: "sum" }, measured(north.noon_angle_deg, north.sigma_deg, "°"))),
        h("li", {}, h("p", {}, word("pair.noon_at", { school: south.name, mark: 2 })), h("p", { class: "sum" }, measured(south.noon_angle_deg, south.sigma_deg, "°"))),
        h("li", {}, h("p", {}, word("pair.difference"), " ", h("a", { href: "/method#pair" }, word("pair.why_difference"))), h("p", { class: "sum" }, measured(pair.angle_deg, pair.angle_sigma_deg, "°"))),
        h("li", {}, h("p", {}, word("pair.distance"), " ", h("a", { href: "/method#distance" }, word("pair.why_distance"))), h("p", { class: "sum" }, `${number(pair.separation_km, 1)} km`)),
        h("li", {}, h("p", {}, word("pair.sum")), h("p", { class: "sum" }, `360° × ${number(pair.separation_km, 1)} km ÷ ${number(pair.angle_deg, 3)}°`)),
        h("li", {}, h("p", {}, word("pair.circumference")), h("p", { class: "sum" }, h("strong", {}, answered ? measured(pair.circumference_km, pair.sigma_km, "km") : "–"))))),
    pair.status !== "ok" && h("p", { class: "flag" }, wordOf("pair.status_", pair.status)),
    answered && h("p", {}, bar, word("pair.against", { handbook: number(handbook_km, 1), percent: signed(pair.error_percent, 2), sigmas: number(Math.abs(pair.error_sigmas), 1) }), " ",
      pair.low_km !== null && pair.high_km !== null && word("pair.between", { low: withSigma(pair.low_km, pair.sigma_km).value, high: withSigma(pair.high_km, pair.sigma_km).value })));
}
