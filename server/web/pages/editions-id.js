// SPDX-License-Identifier: MIT
// A published edition: what it says, what it changed, what is inside, and how anybody
// checks it. Its bundle never changes; large ones are loaded on demand.
import { table } from "../charts/table.js";
import { whisker, whiskerScale } from "../charts/whisker.js";
import { get, getBytes, here, path } from "../house/api.js";
import { changeSays } from "../house/changes.js";
import { byId, fill, h } from "../house/dom.js";
import { longDate, measured, number, signed, withSigma } from "../house/format.js";
import { attempt, attemptPage, begin, reveal, setTitle } from "../house/page.js";
import { word, wordOf } from "../house/words.js";
import tableWords from "../words/table.json";
import words from "../words/edition.json";

const { id } = here("/editions/{id}");
const AT_ONCE = 2 << 20; // bytes of a bundle that is loaded without asking

const term = (says, ...content) => h("div", {}, h("dt", {}, says), h("dd", {}, content));

function showHead(head) {
  setTitle(head.title);
  fill(byId("edition-number"), word("edition.number_date", { number: number(head.edition), date: longDate(head.published_utc.slice(0, 10)) }));
  fill(byId("edition-title"), head.title);
  const answered = head.circumference_km !== null;
  fill(byId("figure"), answered ? measured(head.circumference_km, head.sigma_km, "km") : word("edition.no_figure"));
  fill(byId("figure-words"), word("edition.frozen"));
  fill(byId("facts"),
    answered && head.low_km !== null && head.high_km !== null && term(word("edition.two_in_three"),
      `${withSigma(head.low_km, head.sigma_km).value} – ${withSigma(head.high_km, head.sigma_km).value} km`),
    term(word("edition.sites"), number(head.sites)), term(word("edition.noons"), number(head.days)),
    term(word("edition.left_out"), Object.entries(head.left_out_counts).filter(([, count]) => count > 0)
      .map(([why, count]) => `${wordOf("edition.left_", why)} ${number(count)}`).join(", ") || number(0)),
    term(word("edition.method"), head.method));
  byId("replaced").hidden = head.replaced_by === null;
  if (head.replaced_by !== null)
    fill(byId("replaced"), word("edition.is_replaced"), " ", h("a", { href: path`/editions/${head.replaced_by}` }, word("edition.replaced", { number: number(head.replaced_by) })));
  fill(byId("command"), `noonarc verify edition-${head.edition}.json`);
  fill(byId("sum"), `SHA-256 ${head.sha256}`);
  fill(byId("files"),
    h("li", {}, h("a", { href: `/api/v1${path`/editions/${head.edition}`}/bundle`, download: `edition-${head.edition}.json` }, word("edition.bundle", { kilobytes: number(Math.ceil(head.bytes / 1024)) }))),
    head.kind === "day" && h("li", {}, h("a", { href: path`/days/${head.subject}` }, word("edition.to_day"))));
}

// The checksum as this browser finds it, where it can (pages over https and on this
// machine itself).
async function checkSum(bytes, sha256) {
  if (globalThis.crypto?.subtle === undefined) return;
  const digest = [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  fill(byId("sum-checked"), digest === sha256 ? word("edition.sum_right") : word("edition.sum_wrong"));
}

function showChanges({ reason, changes, replaces }, named) {
  byId("changes-part").hidden = replaces === null;
  if (replaces === null) return;
  fill(byId("changes-reason"), word("edition.reason", { number: number(replaces.edition), reason: reason ?? "" }));
  fill(byId("changes"), changes.map((change) => h("li", {}, changeSays(change, named))));
}

function showInside({ figures, records }, named) {
  fill(byId("inside"), figures.days.map((day) => {
    const scale = whiskerScale(day.leaderboard.sites, day.result.handbook_km);
    const { rules } = records.days.find(({ rules: { day: name } }) => name === day.day);
    return h("div", {},
      h("h3", {}, h("a", { href: path`/days/${day.day}` }, rules.name === day.day || rules.name === undefined ? longDate(rules.date) : `${rules.name}, ${longDate(rules.date)}`)),
      day.leaderboard.sites.length === 0 && h("p", {}, word(day.reductions.length === 0 ? "edition.day_empty" : "edition.day_alone")),
      day.leaderboard.sites.length > 0 && h("p", {}, measured(day.result.circumference_km, day.result.sigma_km, "km"), " ", word("edition.day_words", { sites: number(day.result.sites), pairs: number(day.pairs_count) })),
      day.leaderboard.sites.length > 0 && table(word("edition.schools_of", { day: day.day }), [
        [word("edition.place"), (row) => number(row.place), true],
        [word("edition.school"), (row) => named(row.site)],
        [word("edition.circumference_km"), (row) => measured(row.circumference_km, row.sigma_km), true],
        [word("edition.against_handbook"), (row) => whisker(row, scale)],
        [word("edition.error_percent"), (row) => signed(row.error_percent, 2), true],
      ], day.leaderboard.sites, 10));
  }));
}

async function showBundle(head) {
  const bytes = await getBytes(path`/editions/${head.edition}/bundle`);
  const bundle = JSON.parse(new TextDecoder().decode(bytes));
  const names = new Map(bundle.records.sites.map((site) => [site.site, site.name ?? word("edition.unnamed")]));
  const named = (site) => names.get(site) ?? site;
  showChanges(bundle, named);
  showInside(bundle, named);
  await checkSum(bytes, head.sha256);
}

async function show() {
  const head = await get(path`/editions/${id}`);
  showHead(head);
  reveal("edition-page");
  if (head.bytes <= AT_ONCE) {
    await showBundle(head);
    return head;
  }
  fill(byId("inside"), h("button", { type: "button", on: { click: () => attempt(() => showBundle(head)) } },
    word("edition.load", { megabytes: number(head.bytes / (1 << 20), 1) })));
  return head;
}

begin({ ...tableWords, ...words }, () => attemptPage(show, [["/editions", word("edition.back")]]));
