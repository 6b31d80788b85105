// SPDX-License-Identifier: MIT
// A measurement day as the country sees it: the answer at once, then, as they are drawn,
// the map, the slope, the spread, the leaderboards. Fresh figures come by themselves.
import { here } from "../house/api.js";
import { byId } from "../house/dom.js";
import { attempt, begin, setTitle } from "../house/page.js";
import { showAnswer, showCounts, showPublished } from "../nation/answer.js";
import { follow } from "../nation/follow.js";
import { showLeaders } from "../nation/leaders.js";
import { showLeftOut } from "../nation/left_out.js";
import { showFiles } from "../nation/files.js";
import { loadAnswer, loadDay } from "../nation/load.js";
import tableWords from "../words/table.json";
import dayWords from "../words/day.json";
import words from "../words/nation.json";

const { day } = here("/days/{day}");

async function show() {
  const answer = await loadAnswer(day);
  setTitle(answer.record.name);
  showAnswer(answer);
  showPublished(answer.editions);
  byId("day-page").hidden = false;
  const [loaded, pictures] = await Promise.all([loadDay(day, answer), import("../nation/pictures.js")]);
  showCounts(loaded.counts);
  byId("day-rest").hidden = false;
  byId("take-part").hidden = answer.record.state !== "announced" || loaded.counts.runs > 0;
  for (const part of ["leaders", "left-out"]) byId(part).hidden = loaded.counts.runs === 0;
  pictures.show(loaded);
  showLeaders(loaded);
  showLeftOut(loaded);
  showFiles(day);
  return loaded;
}

begin({ ...tableWords, ...dayWords, ...words }, async () => {
  if ((await attempt(show)) !== undefined) follow(day, show);
});
