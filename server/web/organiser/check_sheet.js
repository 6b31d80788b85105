// SPDX-License-Identifier: MIT
// Looks a spreadsheet through before it is sent, so that all that is wrong is seen at
// once and by row and column. The service checks everything again, and better: this
// only saves the way there.
import { csvRows } from "../charts/csv.js";

const number = (low, high) => (text) => (/^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(text.trim().replace(",", ".")) && Number(text.replace(",", ".")) >= low && Number(text.replace(",", ".")) <= high ? null : "number");
const orEmpty = (check) => (text) => (text.trim() === "" ? null : check(text));
const identifier = (text) => (/^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$/.test(text.trim()) ? null : "identifier");
const anything = () => null;

export const SHEETS = {
  sites: {
    site: identifier, lat_deg: number(-90, 90), lon_deg: number(-180, 180), elev_m: orEmpty(number(-500, 9000)),
    gnomon_mm: orEmpty(number(20, 100000)), edge: (text) => (["", "umbra", "penumbra", "centre"].includes(text.trim()) ? null : "edge"),
  },
  readings: {
    site: identifier,
    utc: (text) => (/^\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)$/.test(text.trim()) ? null : "time"),
    shadow_mm: number(0.01, 600000),
  },
  invitations: { name: (text) => (/^[\p{L}\p{N}]/u.test(text.trim()) && new TextEncoder().encode(text.trim()).length <= 120 ? null : "name") },
};
const EXTRA = { sites: { name: anything, zone: anything, contact: anything }, readings: {}, invitations: { contact: anything } };

// The sign between fields: of the header row, whichever comes most of comma, semicolon
// and tab; the service takes all three.
function unify(text) {
  const head = text.slice(0, text.search(/[\r\n]|$/));
  const sign = [",", ";", "\t"].sort((a, b) => head.split(b).length - head.split(a).length)[0];
  return sign === "," ? text : csvRows(text.replaceAll(",", "\u0001").replaceAll(sign, ",")).map((row) => row.map((cell) => cell.replaceAll("\u0001", ",")));
}

// {names, rows, faults: [{row (as the sheet counts), column, fault}]}.
export function checkSheet(kind, text) {
  const plain = text.charCodeAt(0) === 0xfeff ? text.slice(1) : text;
  const unified = unify(plain);
  const [head = [], ...rows] = (Array.isArray(unified) ? unified : csvRows(unified)).filter((row) => row.some((cell) => cell.trim() !== ""));
  const names = head.map((name) => name.trim().toLowerCase());
  const columns = { ...SHEETS[kind], ...EXTRA[kind] };
  const faults = [];
  for (const name of Object.keys(SHEETS[kind])) if (!names.includes(name)) faults.push({ row: 1, column: name, fault: "missing_column" });
  names.forEach((name, i) => {
    if (!Object.hasOwn(columns, name)) faults.push({ row: 1, column: name, fault: "unknown_column" });
    else if (names.indexOf(name) !== i) faults.push({ row: 1, column: name, fault: "doubled_column" });
  });
  rows.forEach((row, r) => names.forEach((name, i) => {
    const fault = Object.hasOwn(columns, name) ? columns[name](row[i] ?? "") : null;
    if (fault !== null) faults.push({ row: r + 2, column: name, fault });
  }));
  if (kind === "sites" && names.includes("site")) {
    const seen = new Map();
    rows.forEach((row, r) => {
      const site = (row[names.indexOf("site")] ?? "").trim();
      if (seen.has(site)) faults.push({ row: r + 2, column: "site", fault: "twice" });
      seen.set(site, r);
    });
  }
  return { names, rows, faults };
}
