// SPDX-License-Identifier: MIT
// What does not count, and why: sites off the line, and, when asked for, every single
// reading, which takes the whole list of runs.
import { table } from "../charts/table.js";
import { attempt } from "../house/page.js";
import { getAll, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { number, signed } from "../house/format.js";
import { word, wordOf } from "../house/words.js";

function readingRows(day, runs) {
  const rows = [];
  for (const { reduction } of runs) {
    const site = day.named(reduction.site);
    if (reduction.status !== "ok")
      rows.push({ site, what: word("nation.whole_run"), why: wordOf("reduction.", reduction.status, reduction.reason ?? reduction.status) });
    for (const reading of reduction.left_out)
      rows.push({
        site, what: word("nation.reading_at", { time: reading.utc.slice(11, 19), mm: number(reading.shadow_mm) }),
        why: wordOf("slip.", reading.reason, reading.advice),
      });
  }
  return rows;
}

function showReadings(day) {
  const place = byId("left-out-readings");
  fill(place, h("button", {
    type: "button", class: "small",
    on: {
      click: async () => {
        const runs = await attempt(() => getAll(path`/days/${day.day}/runs`, "runs"), { where: place });
        if (runs === undefined) return;
        fill(place, table(word("nation.left_readings"), [
          [word("nation.school"), (row) => row.site], [word("nation.left_what"), (row) => row.what], [word("nation.left_why"), (row) => row.why],
        ], readingRows(day, runs)));
      },
    },
  }, word("nation.left_show")));
}

let shownFor = null;
export function showLeftOut(day) {
  const readings = day.counts.left_out;
  const off = day.result.left_out;
  fill(byId("left-out-words"), off.length === 0 && readings === 0 && day.result.excluded.length === 0 ? word("nation.left_none")
    : word("nation.left_some", { sites: number(off.length), excluded: number(day.result.excluded.length), readings: number(readings) }));
  fill(byId("left-out-sites"), off.length > 0 && table(word("nation.left_sites"), [
    [word("nation.school"), (row) => h("a", { href: path`/days/${day.day}/sites/${row.site}/run` }, day.named(row.site))],
    [word("nation.left_why"), (row) => wordOf("nation.left_", row.reason)],
    [word("nation.residual_deg"), (row) => signed(row.residual_deg, 3), true],
    [word("nation.residual_sigmas"), (row) => signed(row.residual_sigma, 1), true],
  ], off));
  fill(byId("left-out-excluded"), day.result.excluded.length > 0 && table(word("nation.left_excluded"), [
    [word("nation.school"), (row) => h("a", { href: path`/days/${day.day}/sites/${row.site}/run` }, day.named(row.site))],
    [word("nation.left_why"), (row) => row.reason],
  ], day.result.excluded));
  byId("left-out-readings").hidden = readings === 0;
  if (readings > 0 && shownFor !== readings) showReadings(day);
  shownFor = readings;
}
