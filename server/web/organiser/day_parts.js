// SPDX-License-Identifier: MIT
// The parts of an organiser's day: sky board, review queue, approvals, what can be
// changed, what has happened.
import { table, tableBeside } from "../charts/table.js";
import { ask, get, getAll, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { flagSays } from "../house/flags.js";
import { clockMinute, measured, number, shortDate } from "../house/format.js";
import { word, wordOf } from "../house/words.js";
import { choice, field, form, text, tick, warnings } from "./form.js";

const SKIES = ["clear", "broken", "overcast", "gone_home", "untold"];
let names = new Map(); // of the day's schools

export async function showSky(day) {
  const sites = [];
  let board;
  let cursor = null;
  do {
    board = await get(`${path`/days/${day}`}/sky?${new URLSearchParams({ limit: "500", ...(cursor !== null && { cursor }) })}`);
    sites.push(...board.sites);
    cursor = board.next_cursor;
  } while (cursor !== null);
  names = new Map(sites.map(({ site, name }) => [site, name]));
  fill(byId("sky-counts"), SKIES.map((sky) => h("div", {}, h("dt", {}, wordOf("organiser.sky_", sky)), h("dd", {}, number(board.counts[sky])))));
  const open = byId("sky").querySelector("details")?.open ?? false;
  const lines = tableBeside(word("organiser.sky"), [
    [word("organiser.school"), (row) => row.name],
    [word("organiser.sky_says"), (row) => wordOf("organiser.sky_", row.sky ?? "untold")],
    [word("organiser.sky_at"), (row) => (row.reported_utc === null ? "–" : clockMinute(Date.parse(row.reported_utc)))],
    [word("organiser.readings"), (row) => number(row.readings), true],
  ], () => sites);
  lines.open = open;
  fill(byId("sky"), lines);
}

function reviewItem(day, item, again) {
  const decide = form(word("organiser.decide"), [
    field(word("organiser.verdict"), choice("verdict", ["ask", "exclude", "accept"].map((verdict) => [verdict, wordOf("organiser.verdict_", verdict)]))),
    field(word("organiser.reason"), text("reason", { maxlength: 400 }), word("organiser.reason_hint")),
  ], async (values) => {
    await ask("POST", path`/runs/${item.run}/reviews`, { body: values });
    await again();
    return null;
  });
  return h("li", { class: "review-item" },
    h("h3", {}, h("a", { href: path`/days/${day}/sites/${item.site}/run` }, names.get(item.site) ?? item.site), " ",
      h("span", { class: "sigma" }, wordOf("organiser.review_", item.status))),
    h("p", {}, item.noon_angle_deg === null ? word("organiser.no_angle") : measured(item.noon_angle_deg, item.sigma_deg, "°"), " ",
      item.counts ? word("organiser.counts_yes") : word("organiser.counts_no")),
    h("ul", {}, item.flags.map((flag) => h("li", {}, h("strong", {}, wordOf("flag.", flag.flag), ": "), flagSays(flag)))),
    item.reviews.length > 0 && h("ul", { class: "said" }, item.reviews.map((review) => h("li", {},
      `${wordOf("organiser.by_", review.by)}, ${wordOf("organiser.verdict_", review.verdict)}: ${review.reason}`))),
    h("details", {}, h("summary", {}, word("organiser.decide")), decide));
}

export async function showReview(day) {
  const items = await getAll(`${path`/days/${day}`}/review`, "runs");
  const open = items.filter(({ status }) => ["open", "asked", "answered"].includes(status));
  const done = items.filter((item) => !open.includes(item));
  const again = () => showReview(day);
  fill(byId("review"),
    h("p", { role: "status" }, open.length === 0 ? word("organiser.review_none") : word("organiser.review_count", { count: number(open.length) })),
    h("ul", { class: "review-list" }, open.map((item) => reviewItem(day, item, again))),
    done.length > 0 && h("details", {}, h("summary", {}, word("organiser.review_done", { count: number(done.length) })),
      h("ul", { class: "review-list" }, done.map((item) => reviewItem(day, item, again)))));
}

export async function showApprovals(day) {
  const waiting = await getAll(`${path`/days/${day}`}/sites`, "sites", { query: { status: "waiting" } });
  byId("approvals-part").hidden = waiting.length === 0;
  fill(byId("approvals"), h("ul", { class: "review-list" }, waiting.map((site) => h("li", { class: "review-item" },
    h("h3", {}, site.name),
    form(word("organiser.decide"), [
      field(word("organiser.verdict"), choice("approved", [["yes", word("organiser.approve")], ["no", word("organiser.refuse")]])),
      field(word("organiser.reason"), text("reason", { maxlength: 400 }), word("organiser.refuse_hint")),
    ], async (values) => {
      await ask("PUT", path`/days/${day}/sites/${site.site}/approval`, { body: { approved: values.approved === "yes", reason: values.reason.trim() || null } });
      await showApprovals(day);
      return null;
    })))));
}

// Freezes a day or a season; a correction of an earlier edition says why.
export const publishForm = (address) => form(word("organiser.publish"), [
  field(word("organiser.publish_title"), text("title", { maxlength: 120 }), word("organiser.publish_title_hint")),
  field(word("organiser.reason"), text("reason", { maxlength: 400 }), word("organiser.publish_reason_hint")),
], async (values) => {
  const body = Object.fromEntries(Object.entries(values).map(([name, value]) => [name, value.trim()]).filter(([, value]) => value !== ""));
  const { edition } = await ask("POST", address, { body });
  return h("a", { href: path`/editions/${edition}` }, word("organiser.published", { number: number(edition) }));
});

const NEXT = { planned: ["announced", "cancelled"], announced: ["closed", "cancelled"], closed: ["announced", "cancelled"], cancelled: ["announced"] };

export function showChange(record, again) {
  const reason = () => field(word("organiser.reason"), text("reason", { maxlength: 400 }));
  const sent = async (changed) => {
    await again();
    return [word("organiser.changed"), " ", warnings(changed.warnings)];
  };
  const address = path`/days/${record.day}`;
  fill(byId("change"),
    h("details", {}, h("summary", {}, word("organiser.publish")),
      h("p", {}, word("organiser.publish_words")),
      publishForm(`${address}/editions`)),
    h("details", {}, h("summary", {}, word("organiser.partners")),
      h("p", {}, word("organiser.partners_words")),
      form(word("organiser.partners"), [], async () => {
        const done = await ask("POST", `${address}/partners`);
        return word("organiser.partners_done", { pairs: number(done.pairs), threes: number(done.threes), alone: number(done.alone) });
      })),
    h("details", {}, h("summary", {}, word("organiser.change_state")),
      form(word("organiser.change_state"), [
        field(word("organiser.state"), choice("state", NEXT[record.state].map((state) => [state, wordOf("organiser.make_", state)]))), reason(),
      ], async (values) => sent(await ask("POST", `${address}/state`, { body: { state: values.state, reason: values.reason.trim() || null } })))),
    record.spare_dates.length > 0 && h("details", {}, h("summary", {}, word("organiser.move")),
      form(word("organiser.move"), [
        field(word("organiser.date"), choice("date", record.spare_dates.map((date) => [date, shortDate(date)]))), reason(),
      ], async (values) => sent(await ask("POST", `${address}/moves`, { body: values })))),
    h("details", {}, h("summary", {}, word("organiser.blind")),
      h("p", {}, word("organiser.blind_words")),
      form(word("organiser.blind"), [tick("blind", word("organiser.blind_on"), record.blind), reason()],
        async (values) => sent(await ask("PUT", `${address}/blind`, { body: { blind: values.blind === "on", reason: values.reason.trim() } })))));
}

export async function showHistory(day) {
  const { history } = await get(path`/days/${day}/history`);
  const what = (row) => (row.event === "open" ? word("organiser.opened_for", { date: shortDate(row.date) })
    : row.event === "move" ? word("organiser.moved_to", { date: shortDate(row.date) })
    : row.event === "blind" ? (row.blind ? word("organiser.blind_set") : word("organiser.blind_lifted"))
      : wordOf("organiser.state_", row.state));
  fill(byId("history"), table(word("organiser.history"), [
    [word("organiser.when"), (row) => `${shortDate(row.at_utc.slice(0, 10))} ${row.at_utc.slice(11, 16)} UTC`],
    [word("organiser.what"), what],
    [word("organiser.reason"), (row) => row.reason ?? "–"],
  ], history, 20));
}
