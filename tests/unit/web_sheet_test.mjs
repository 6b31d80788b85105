// SPDX-License-Identifier: MIT
// Spreadsheets as the pages read and check them, and values put into boxes. The forms
// of CSV are the examples of RFC 4180, section 2.
import assert from "node:assert/strict";
import test from "node:test";

import { spreadBins } from "../../server/web/charts/bins.js";
import { csvColumns, csvRows, recordsOf } from "../../server/web/charts/csv.js";
import { checkSheet } from "../../server/web/organiser/check_sheet.js";

test("the examples of RFC 4180", () => {
  const plain = [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]];
  assert.deepEqual(csvRows("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"), plain); // 1
  assert.deepEqual(csvRows("aaa,bbb,ccc\r\nzzz,yyy,xxx"), plain); // 2
  assert.deepEqual(csvRows('"aaa","bbb","ccc"\r\nzzz,yyy,xxx'), plain); // 5
  assert.deepEqual(csvRows('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx'), [["aaa", "b\r\nbb", "ccc"], plain[1]]); // 6
  assert.deepEqual(csvRows('"aaa","b""bb","ccc"'), [["aaa", 'b"bb', "ccc"]]); // 7
});

test("empty fields stay, wherever they stand", () => {
  assert.deepEqual(csvRows("a,,\n,b,\n"), [["a", "", ""], ["", "b", ""]]);
  const records = (text) => recordsOf(csvColumns(text, ["km"]), ["site", "km"]);
  assert.deepEqual(records("\ufeffsite,km\r\nx,1.5\r\ny,\r\n"), [{ site: "x", km: 1.5 }, { site: "y", km: null }]);
  assert.deepEqual(records("site,km\nx\ny,2\n"), [{ site: "x", km: null }, { site: "y", km: 2 }]); // a row too short
  assert.deepEqual(csvColumns("", []), { rows: 0, columns: {} });
});

test("a column of words keeps each of them once", () => {
  const { rows, columns } = csvColumns("one,two\na,b\nb,b\na,\n", []);
  assert.equal(rows, 3);
  assert.deepEqual(columns.one, { values: ["a", "b"], at: Uint32Array.of(0, 1, 0) });
  assert.deepEqual(columns.two, { values: ["b", ""], at: Uint32Array.of(0, 0, 1) });
});

test("a sheet is told all its mistakes at once, by row and column", () => {
  const { faults } = checkSheet("sites", "site,lat_deg,lon_deg,elev_m,gnomon_mm,colour\na b,91,-64,0,1000,red\nc,45,x,,,\nc,45,-64,,5,\n");
  assert.deepEqual(faults.map(({ row, column, fault }) => `${row} ${column} ${fault}`), [
    "1 edge missing_column", "1 colour unknown_column", "2 site identifier", "2 lat_deg number", "3 lon_deg number", "4 gnomon_mm number", "4 site twice"]);
});

test("sheets as they are saved elsewhere: semicolons and decimal commas, tabs", () => {
  for (const text of ["site;utc;shadow_mm\na;2027-03-18T14:03:37-03:00;692,5\n", "site\tutc\tshadow_mm\r\na\t2027-03-18 17:03:37Z\t692.5\r\n"]) {
    const { faults, rows } = checkSheet("readings", text);
    assert.deepEqual(faults, []);
    assert.equal(rows.length, 1);
  }
  const { faults } = checkSheet("readings", "site,utc,shadow_mm\na,14:03,692\n");
  assert.deepEqual(faults, [{ row: 2, column: "utc", fault: "time" }]);
});

test("every value is in a box or counted beside them", () => {
  const values = [...Array.from({ length: 200 }, (_, i) => 40000 + 150 * Math.sin(7 * i)), 12, 90000, 95000];
  const { bins, below, above, step } = spreadBins(values, 40007.86);
  assert.equal(bins.reduce((sum, { count }) => sum + count, below + above), values.length);
  assert.deepEqual([below, above], [1, 2]);
  for (const [i, { from, to, count }] of bins.entries()) {
    assert.ok(Math.abs(to - from - step) < 1e-6);
    assert.equal(count, values.filter((value) => value >= from && value < to).length, String(i));
  }
  assert.ok(bins[0].from <= 40007.86 && bins.at(-1).to >= 40007.86);
});
