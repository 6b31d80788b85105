// SPDX-License-Identifier: MIT
// The gnomon, its shadow and the ray between them, true to scale: the triangle that the
// board is about, standing as it stood, with the Sun on its own side.
import { s } from "../house/dom.js";

const WIDTH = 360;
const HEIGHT = 190;
const GROUND = 150;
const ASIDE = 36; // room for the height's words on the side without a shadow

// height_mm, shadow_mm; sunNorth: the Sun stood to the north, so the shadow falls to the
// south, which is on the left. words {height, shadow, angle, north, south, label}.
export function triangle(height_mm, shadow_mm, sunNorth, words) {
  const scale = Math.min(118 / height_mm, 200 / shadow_mm);
  const side = sunNorth ? -1 : 1;
  const tall = height_mm * scale;
  const reach = shadow_mm * scale * side;
  const foot = WIDTH / 2 - reach / 2 + side * ASIDE;
  const tip = GROUND - tall;
  const turn = Math.atan2(Math.abs(reach), tall);
  const radius = Math.min(30, tall * 0.45);
  const arcEnd = { x: foot + side * radius * Math.sin(turn), y: tip + radius * Math.cos(turn) };
  return s("svg", { class: "section triangle", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": words.label },
    s("path", { class: "axis", d: `M0 ${GROUND}H${WIDTH}` }),
    s("path", { class: "noon", d: `M${foot} 6V${GROUND + 12}` }),
    s("path", { class: "shadow", d: `M${foot} ${GROUND}h${reach}` }),
    s("path", { class: "ray", d: `M${foot - reach * 0.22} ${tip - tall * 0.22}L${foot + reach} ${GROUND}` }),
    s("path", { class: "gnomon", d: `M${foot} ${GROUND}V${tip}` }),
    s("path", { class: "angle", d: `M${foot} ${tip + radius}A${radius} ${radius} 0 0 ${side > 0 ? 0 : 1} ${arcEnd.x} ${arcEnd.y}` }),
    s("text", { x: foot - side * 9, y: GROUND - tall / 2, "text-anchor": side > 0 ? "end" : "start" }, words.height),
    s("text", { x: foot + reach / 2, y: GROUND + 22, "text-anchor": "middle" }, words.shadow),
    s("text", { class: "angle-label", x: foot + side * ((radius + 18) * Math.tan(turn) + 8), y: tip + radius + 18, "text-anchor": side > 0 ? "start" : "end" }, words.angle),
    s("text", { x: 4, y: HEIGHT - 4 }, words.south), s("text", { x: WIDTH - 4, y: HEIGHT - 4, "text-anchor": "end" }, words.north));
}
