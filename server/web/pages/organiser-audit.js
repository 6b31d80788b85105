// SPDX-License-Identifier: MIT
// Who changed what, newest first, a page at a time.
import { get } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { shortDate } from "../house/format.js";
import { table } from "../charts/table.js";
import { attempt, begin, reveal } from "../house/page.js";
import { word, wordOf } from "../house/words.js";
import { enter } from "../organiser/enter.js";
import auditWords from "../words/audit.json";
import organiserWords from "../words/organiser.json";
import tableWords from "../words/table.json";

const PAGE = 100;

async function more(cursor) {
  const page = await get(`/audit?${new URLSearchParams({ limit: String(PAGE), ...(cursor !== null && { cursor }) })}`);
  byId("lines").append(table(word("audit.title"), [
    [word("audit.at"), (line) => `${shortDate(line.at_utc.slice(0, 10))} ${line.at_utc.slice(11, 19)} UTC`],
    [word("audit.by"), (line) => `${wordOf("audit.role_", line.role)}${line.by === null ? "" : ` ${line.by}`}`],
    [word("audit.action"), (line) => wordOf("audit.action_", line.action)],
    [word("audit.subject"), (line) => line.subject],
    [word("audit.detail"), (line) => line.detail ?? "–"],
  ], page.lines, PAGE));
  if (page.next_cursor === null) return;
  const button = h("button", { type: "button", on: { click: () => attempt(async () => { await more(page.next_cursor); button.remove(); }) } }, word("audit.older"));
  byId("lines").append(button);
}

begin({ ...tableWords, ...organiserWords, ...auditWords }, () => enter(async () => {
  reveal("inside");
  fill(byId("lines"));
  await more(null);
}));
