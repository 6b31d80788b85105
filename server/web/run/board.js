// SPDX-License-Identifier: MIT
// The angle step by step, as a teacher writes it on the board: what was measured, the
// tangent, the angle, the corrections, the noon angle. Every figure comes from the same
// science that reduced the run; here they are only written down.
import { triangle } from "../charts/triangle.js";
import { fill, h } from "../house/dom.js";
import { measured, number, signed, withUnit } from "../house/format.js";
import { word, wordOf } from "../house/words.js";

const LEAST_DEG = 0.0005; // a correction below this is written as nothing

const line = (says, why, sum) => h("li", {}, h("p", {}, says, " ", why), h("p", { class: "sum" }, sum));
const link = (anchor, text) => h("a", { href: `/method#${anchor}` }, text);
const degrees = (value) => `${number(value, 3)}°`;

export function showBoard(place, { run, reduction, steps, noon, height_mm }) {
  const parts = run.gnomon.parts.map((part) => number(part.length_mm, Number.isInteger(part.length_mm) ? 0 : 1));
  const correction = (value) => (Math.abs(value) < LEAST_DEG ? "0.000°".replace(".", number(0.1, 1)[1]) : `${signed(value, 3)}°`);
  const side = reduction.sun_side;
  fill(place, triangle(height_mm, noon.shadow_mm, side === "N", {
    height: `h = ${withUnit(height_mm, 0, "mm")}`, shadow: `L = ${withUnit(noon.shadow_mm, 1, "mm")}`, angle: `a = ${number(steps.shadow_deg, 2)}°`,
    north: word("run.north"), south: word("run.south"), label: word("run.triangle_label", { height: number(height_mm), shadow: number(noon.shadow_mm, 1), angle: number(steps.shadow_deg, 2) }),
  }), h("ol", { class: "board" },
    line(word("run.board_height"), link("gnomon", word("run.why_height")),
      parts.length > 1 ? `h = ${parts.join(" + ")} = ${withUnit(height_mm, 0, "mm")}` : `h = ${withUnit(height_mm, 0, "mm")}`),
    line(word("run.board_shadow"), link("curve", word("run.why_curve")), `L = ${withUnit(noon.shadow_mm, 1, "mm")}`),
    line(word("run.board_tangent"), null, `tan a = L ÷ h = ${number(noon.shadow_mm, 1)} ÷ ${number(height_mm)} = ${number(noon.shadow_mm / height_mm, 5)}`),
    line(word("run.board_angle"), link("tangent", word("run.why_tangent")), `a = ${degrees(steps.shadow_deg)}`),
    line(wordOf("run.board_edge_", run.gnomon.edge), link("edge", word("run.why_edge")), correction(steps.edge_deg)),
    line(word("run.board_air"), link("air", word("run.why_air")), correction(steps.air_deg)),
    line(word("run.board_parallax"), link("parallax", word("run.why_parallax")), correction(steps.parallax_deg)),
    line(word("run.board_zenith"), null, h("strong", {}, measured(steps.zenith_deg, reduction.sigma_deg, "°"))),
    line(side === "N" ? word("run.board_sign_north") : word("run.board_sign_south"), link("sign", word("run.why_sign")),
      h("strong", {}, measured(reduction.noon_angle_deg, reduction.sigma_deg, "°")))));
}
