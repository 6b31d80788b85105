// SPDX-License-Identifier: MIT
// The plate from above: where the pins stood about the gnomon's foot, north up, as the
// class found it on the ground at the end.
import { s } from "../house/dom.js";
import { shapeNode } from "./base.js";
import { SHADOW_LOOK } from "./shadows.js";

const HALF = 170;
const ROOM = 26; // beyond the farthest pin

// readings: {shadow_mm, bearing_deg, left_out, name}, each with a bearing; words {north,
// ring, label}.
export function plate(readings, words) {
  const farthest = Math.max(...readings.filter((reading) => !reading.left_out).map((reading) => reading.shadow_mm), 1);
  const shortest = Math.min(...readings.filter((reading) => !reading.left_out).map((reading) => reading.shadow_mm), farthest);
  const scale = (HALF - ROOM) / farthest;
  const at = ({ shadow_mm, bearing_deg }) => {
    const reach = Math.min(shadow_mm * scale, HALF - 6);
    const turn = (bearing_deg * Math.PI) / 180;
    return { x: reach * Math.sin(turn), y: -reach * Math.cos(turn) };
  };
  const pins = readings.map((reading) => ({ ...reading, ...at(reading) }));
  const used = pins.filter((pin) => !pin.left_out);
  return s("svg", { class: "section plate", viewBox: `${-HALF} ${-HALF - 22} ${2 * HALF} ${2 * HALF + 22}`, role: "img", "aria-label": words.label },
    s("rect", { class: "earth", x: -HALF + 1, y: -HALF + 1, width: 2 * HALF - 2, height: 2 * HALF - 2 }),
    s("path", { class: "noon", d: `M0 ${-HALF}V${HALF}` }),
    s("text", { x: 0, y: -HALF - 6, "text-anchor": "middle" }, words.north),
    s("circle", { class: "axis", cx: 0, cy: 0, r: shortest * scale, fill: "none" }),
    used.map((pin) => s("path", { class: "fan", d: `M0 0L${pin.x} ${pin.y}` })),
    s("path", { class: "track", d: used.map((pin, i) => `${i === 0 ? "M" : "L"}${pin.x} ${pin.y}`).join("") }),
    pins.map((pin) => {
      const { shape, colour } = pin.left_out ? SHADOW_LOOK.left_out : SHADOW_LOOK.used;
      return shapeNode(shape, pin.x, pin.y, 5, shape === "cross" ? { stroke: colour, "stroke-width": 2.4, fill: "none" } : { fill: colour, stroke: "currentColor", "stroke-width": 0.8 });
    }),
    s("circle", { cx: 0, cy: 0, r: 6, fill: "currentColor" }));
}
