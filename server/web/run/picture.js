// SPDX-License-Identifier: MIT
// The run as a picture and as a table, with what was left out and why.
import { keyItem } from "../charts/base.js";
import { plate } from "../charts/plate.js";
import { SHADOW_LOOK, shadowChart } from "../charts/shadows.js";
import { tableBeside } from "../charts/table.js";
import { byId, fill, h } from "../house/dom.js";
import { clockOff } from "../house/flags.js";
import { clockMinute, clockTime, number, signed } from "../house/format.js";
import { locale, word, wordOf } from "../house/words.js";

const FEWEST = 3; // pins that make a picture

const figures = new Intl.NumberFormat(locale, { maximumFractionDigits: 1, useGrouping: false });

const reason = (out) => [wordOf("slip.", out.reason, out.advice), out.instead_mm !== null && ` ${word("run.instead", { mm: number(out.instead_mm) })}`];

// A clock beyond the day's bound: by how much, and what the day's rule made of it.
function showClock({ clock }) {
  byId("clock-off").hidden = !(clock?.beyond ?? false);
  if (byId("clock-off").hidden) return;
  fill(byId("clock-off"), clockOff(clock), " ", word("run.clock_times"), " ",
    h("a", { href: "/method#clock" }, word("table.how")));
}

export function showPicture({ place, readings, curve, noon, reduction }) {
  const zone = place.zone ?? undefined;
  showClock(reduction);
  fill(byId("picture-key"), keyItem(SHADOW_LOOK.used, word("run.key_used")),
    reduction.left_out.length > 0 && [keyItem(SHADOW_LOOK.left_out, word("run.key_left_out")), keyItem(SHADOW_LOOK.instead, word("run.key_instead"))]);
  const inner = h("div");
  fill(byId("picture-chart"), inner);
  shadowChart(inner, { readings, curve, noon: { ...noon, label: `${word("run.noon")} ${clockTime(noon.ms, zone)}` } }, {
    tick: (ms) => clockMinute(ms, zone), figure: (value) => figures.format(value),
    words: { x: word("run.axis_time", { zone: zone ?? "" }), y: word("run.axis_shadow"), label: word("run.picture_label", { used: number(reduction.used), out: number(reduction.left_out.length) }) },
  });
  // From above, where the class took the pins' directions too.
  const turned = readings.filter((reading) => reading.bearing_deg !== null);
  byId("plate-part").hidden = turned.length < FEWEST;
  if (turned.length >= FEWEST)
    fill(byId("plate"), plate(turned, { north: word("run.plate_north"), label: word("run.plate_label", { count: number(turned.length) }) }));
  fill(byId("left-out"), reduction.left_out.length === 0 ? h("p", {}, word("run.all_used"))
    : h("ul", { class: "reasons" }, reduction.left_out.map((out) => h("li", {},
      h("strong", {}, word("run.left_reading", { number: number(out.reading + 1), time: clockTime(Date.parse(out.utc), zone), mm: number(out.shadow_mm) })), " ",
      reason(out), out.also.length > 0 && [" ", word("run.or"), " ", out.also.map((slip) => wordOf("slip.", slip)).join(" ")]))));
  if (reduction.run_slip !== null) byId("left-out").append(h("p", { class: "flag" }, wordOf("slip.", reduction.run_slip, reduction.advice)));
  fill(byId("picture-table"), tableBeside(word("run.table_readings"), [
    [word("run.number"), (row) => row.name, true],
    [word("run.time"), (row) => clockTime(row.ms, zone)],
    [word("run.shadow_mm"), (row) => number(row.shadow_mm, Number.isInteger(row.shadow_mm) ? 0 : 1), true],
    turned.length > 0 && [word("run.bearing_deg"), (row) => (row.bearing_deg === null ? "–" : number(row.bearing_deg, 1)), true],
    [word("run.sun_angle_deg"), (row) => (row.zenith_deg === null ? "–" : number(row.zenith_deg, 3)), true],
    [word("run.off_curve_deg"), (row) => (row.residual_deg === null ? "–" : signed(row.residual_deg, 3)), true],
    [word("run.used"), (row) => (row.left_out === null ? word("run.used_yes") : wordOf("slip.", row.left_out.reason, row.left_out.advice))],
  ].filter(Boolean), () => readings));
}
