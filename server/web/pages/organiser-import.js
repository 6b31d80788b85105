// SPDX-License-Identifier: MIT
// Import of schools and readings: what is in the sheet and what is wrong with it is
// seen before anything is sent; then it is all or nothing.
import { table } from "../charts/table.js";
import { ask, getAll, path, Refusal } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { number } from "../house/format.js";
import { attempt, begin, reveal } from "../house/page.js";
import { word, wordOf } from "../house/words.js";
import { checkSheet, SHEETS } from "../organiser/check_sheet.js";
import { enter } from "../organiser/enter.js";
import { choice, field } from "../organiser/form.js";
import importWords from "../words/import.json";
import organiserWords from "../words/organiser.json";
import tableWords from "../words/table.json";

const MOST_BYTES = 1 << 20; // the service takes no more at once
let sheet = "";

function look() {
  const kind = byId("kind").value;
  byId("day").closest(".field").hidden = kind !== "readings";
  byId("season").closest(".field").hidden = kind !== "invitations";
  fill(byId("columns"), word("import.columns", { columns: Object.keys(SHEETS[kind]).join(", ") }));
  fill(byId("answer"));
  byId("send").disabled = true;
  if (sheet.trim() === "") {
    fill(byId("preview"), word("import.nothing"));
    return;
  }
  const { names, rows, faults } = checkSheet(kind, sheet);
  const tooLarge = new Blob([sheet]).size > MOST_BYTES;
  const at = new Map(faults.map((one) => [`${one.row}/${one.column}`, one]));
  fill(byId("preview"),
    h("p", {}, word("import.rows", { rows: number(rows.length), faults: number(faults.length) })),
    tooLarge && h("p", { class: "flag" }, word("import.too_large")),
    faults.length > 0 && table(word("import.faults"), [
      [word("import.row"), (row) => number(row.row), true], [word("import.column"), (row) => row.column], [word("import.fault"), (row) => wordOf("import.fault_", row.fault)],
    ], faults, 20),
    rows.length > 0 && h("details", { open: true }, h("summary", {}, word("import.first_rows")),
      table(word("import.first_rows"), names.map((name, i) => [name, (row) => {
        const fault = at.get(`${rows.indexOf(row) + 2}/${name}`);
        return fault === undefined ? row[i] ?? "" : h("mark", {}, row[i] ?? "");
      }, i > 0 && names[i] !== "edge"]), rows.slice(0, 200), 10)));
  byId("send").disabled = faults.length > 0 || rows.length === 0 || tooLarge;
}

function csvCell(text) {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

// What is shown this once, as a table and as a sheet to keep. columns: [heading, member].
function showOnce(says, file, columns, rows) {
  const members = columns.map(([, member]) => member);
  const csv = [members.join(","), ...rows.map((row) => members.map((member) => csvCell(row[member] ?? "")).join(","))].join("\r\n");
  return [
    h("p", { class: "flag" }, says),
    h("p", {}, h("a", { class: "button", href: URL.createObjectURL(new Blob([`${csv}\r\n`], { type: "text/csv" })), download: file }, word("import.keys_file"))),
    table(word("import.keys"), columns.map(([heading, member]) => [heading, (row) => row[member] ?? "–"]), rows, 20),
  ];
}

async function send() {
  const kind = byId("kind").value;
  byId("send").disabled = true;
  await attempt(async () => {
    try {
      if (kind === "sites") {
        const done = await ask("POST", "/sites.csv", { body: sheet });
        fill(byId("answer"), h("p", {}, word("import.sites_done", { sites: number(done.sites), changed: number(done.changed), unchanged: number(done.unchanged) })),
          done.keys.length > 0 && showOnce(word("import.keys_once"), "keys.csv", [
            [word("import.school"), "site"], [word("import.school_key"), "school_key"], [word("import.class_code"), "class_code"],
          ], done.keys));
      } else if (kind === "invitations") {
        const { invited } = await ask("POST", `${path`/seasons/${byId("season").value}`}/invitations.csv`, { body: sheet });
        fill(byId("answer"), showOnce(word("import.invited", { count: number(invited.length) }), "invitations.csv", [
          [word("import.school"), "name"], [word("import.contact"), "contact"], [word("import.invitation"), "invitation"],
        ], invited));
      } else {
        const day = byId("day").value;
        const done = await ask("POST", `${path`/days/${day}`}/readings.csv`, { body: sheet });
        fill(byId("answer"), h("p", {}, word("import.readings_done", { runs: number(done.runs) }), " ", h("a", { href: path`/organiser/days/${day}` }, word("import.to_day"))));
      }
    } catch (failure) {
      // What the service found: its place in the sheet and its own words.
      if (!(failure instanceof Refusal) || ![400, 413, 422].includes(failure.status)) throw failure;
      fill(byId("answer"), h("p", { class: "flag" }, failure.field !== "" && h("strong", {}, `${failure.field}: `), failure.advice, " ", word("import.nothing_taken")),
        failure.errors.length > 0 && table(word("import.faults"), [
          [word("import.row"), (row) => row.field], [word("import.fault"), (row) => row.detail],
        ], failure.errors, 20));
    }
  });
  byId("send").disabled = false;
}

async function read(file) {
  sheet = file === undefined ? "" : await file.text();
  byId("paste").value = sheet.length < 50000 ? sheet : "";
  look();
}

begin({ ...tableWords, ...organiserWords, ...importWords }, () => enter(async () => {
  reveal("inside");
  const days = (await getAll("/days", "days")).reverse();
  const seasons = await getAll("/seasons", "seasons");
  const kind = choice("kind", [["sites", word("import.kind_sites")], ["readings", word("import.kind_readings")],
    ...(seasons.length > 0 ? [["invitations", word("import.kind_invitations")]] : [])]);
  kind.id = "kind";
  const day = choice("day", days.map((one) => [one.day, one.name]));
  day.id = "day";
  const season = choice("season", seasons.map((one) => [one.season, one.name]));
  season.id = "season";
  fill(byId("choose"),
    field(word("import.kind"), kind), field(word("organiser.day"), day), field(word("organiser.season"), season),
    h("p", { id: "columns" }),
    field(word("import.file"), h("input", { type: "file", accept: ".csv,text/csv", on: { change: (event) => read(event.target.files[0]) } })),
    field(word("import.paste"), h("textarea", { id: "paste", rows: 6, spellcheck: "false", on: { input: (event) => { sheet = event.target.value; look(); } } })));
  kind.addEventListener("change", look);
  byId("send").addEventListener("click", send);
  look();
}));
