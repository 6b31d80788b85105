// SPDX-License-Identifier: MIT
// One day at the organiser's desk; sky board and queue follow the day's events.
import { get, here, path } from "../house/api.js";
import { byId, fill } from "../house/dom.js";
import { longDate } from "../house/format.js";
import { attempt, begin, reveal, setTitle } from "../house/page.js";
import { word, wordOf } from "../house/words.js";
import { showApprovals, showChange, showHistory, showReview, showSky } from "../organiser/day_parts.js";
import { enter } from "../organiser/enter.js";
import flagWords from "../words/flag.json";
import noonWords from "../words/noon.json";
import slipWords from "../words/slip.json";
import tableWords from "../words/table.json";
import words from "../words/organiser.json";

const { day } = here("/organiser/days/{day}");
const REST_MS = 3000; // between two looks

async function showRecord() {
  const record = await get(path`/days/${day}`);
  setTitle(record.name);
  fill(byId("day-title"), record.name);
  fill(byId("day-state"), `${longDate(record.date)}, ${wordOf("organiser.state_", record.state)}.`);
  byId("to-day").href = path`/days/${day}`;
  showChange(record, async () => {
    await showRecord();
    await showHistory(day);
  });
}

// The queue is left alone while someone types in it.
function follow() {
  let timer = null;
  const look = () => {
    timer ??= setTimeout(async () => {
      timer = null;
      await attempt(async () => {
        await showSky(day);
        if (!byId("review").contains(document.activeElement)) await showReview(day);
      });
    }, REST_MS);
  };
  const stream = new EventSource(`/api/v1${path`/days/${day}`}/live`);
  for (const event of ["sky", "run"]) stream.addEventListener(event, look);
}

begin({ ...tableWords, ...flagWords, ...noonWords, ...slipWords, ...words }, () => enter(async () => {
  await showRecord();
  reveal("inside");
  await showSky(day); // it names the schools
  await Promise.all([showReview(day), showApprovals(day), showHistory(day)]);
  follow();
}, [["/organiser", word("organiser.back")]]));
