// SPDX-License-Identifier: MIT
// The slope that is the answer, in words, as a picture and as a table.
import { keyItem } from "../charts/base.js";
import { SLOPE_LOOK, slopeChart } from "../charts/slope.js";
import { tableBeside } from "../charts/table.js";
import { byId, fill, h } from "../house/dom.js";
import { measured, number, signed, withSigma } from "../house/format.js";
import { locale, word, wordOf } from "../house/words.js";

// Ticks carry as many decimals as they need.
const ticks = new Intl.NumberFormat(locale, { maximumFractionDigits: 3, useGrouping: false });
export const tick = (value) => ticks.format(value).replace("-", "−");

export async function showSlope({ result, points, named }) {
  const answered = result.status === "ok";
  const slope = answered ? 360 / result.circumference_km : null;
  const perThousand = answered ? withSigma(1000 * slope, (1000 * slope * result.sigma_km) / result.circumference_km) : null;
  byId("slope").hidden = points.length < 2;
  if (points.length < 2) return;
  fill(byId("slope-words"), answered
    ? [word("nation.slope_is", { slope: `${perThousand.value} ± ${perThousand.sigma}` }), " ",
      h("strong", {}, word("nation.slope_sum", {
        slope: number(slope, 7), circumference: `${withSigma(result.circumference_km, result.sigma_km).value} ± ${withSigma(result.circumference_km, result.sigma_km).sigma}`,
      }))]
    : wordOf("nation.status.", result.status));
  fill(byId("slope-key"), keyItem(SLOPE_LOOK.used, word("nation.slope_key_used")),
    result.left_out.length > 0 && keyItem(SLOPE_LOOK.left_out, word("nation.slope_key_out")));
  await slopeChart(byId("slope-chart"), points, {
    tick,
    slopeWords: answered ? word("nation.slope_mark", { slope: perThousand.value }) : "",
    words: {
      x: word("nation.axis_distance"), y: word("nation.axis_angle"), residual: word("nation.axis_residual"),
      label: word("nation.slope_label"), residualLabel: word("nation.residual_label"),
    },
  });
  const sorted = () => [...points].sort((a, b) => a.meridian_km - b.meridian_km);
  fill(byId("slope-table"), tableBeside(word("nation.table_line"), [
    [word("nation.school"), (point) => named(point.site)],
    [word("nation.distance_km"), (point) => number(point.meridian_km, 1), true],
    [word("nation.noon_angle_deg"), (point) => measured(point.noon_angle_deg, point.sigma_deg), true],
    [word("nation.residual_deg"), (point) => (point.residual_deg === null ? "–" : signed(point.residual_deg, 3)), true],
    [word("nation.residual_sigmas"), (point) => (point.residual_deg === null ? "–" : signed(point.residual_deg / point.sigma_deg, 1)), true],
    [word("nation.counts"), (point) => (point.left_out === "" ? word("nation.counts_yes") : word("nation.counts_off_line"))],
  ], sorted));
}
