// SPDX-License-Identifier: MIT
// A measurement day as the country sees it: the answer at once, then, as they come near,
// the map, the slope, the spread, the leaderboards. Fresh figures come by themselves.
import { here } from "../house/api.js";
import { byId, fill } from "../house/dom.js";
import { attemptPage, begin, reveal, setTitle } from "../house/page.js";
import { showAnswer, showCounts, showPublished } from "../nation/answer.js";
import { follow } from "../nation/follow.js";
import { showLeaders } from "../nation/leaders.js";
import { showLeftOut } from "../nation/left_out.js";
import { showFiles } from "../nation/files.js";
import { loadAnswer, look } from "../nation/load.js";
import { Part } from "../nation/parts.js";
import { word } from "../house/words.js";
import tableWords from "../words/table.json";
import dayWords from "../words/day.json";
import words from "../words/nation.json";

const SMALL = 300; // sites up to which everything is drawn at once

const { day } = here("/days/{day}");
let parts = null;
let last = null;

// The pictures weigh more than the figures and come after them.
const map = () => import("../nation/map_part.js");
const slope = () => import("../nation/slope_part.js");
const spread = () => import("../nation/spread_part.js");

const makeParts = () => [
  new Part("map-part",
    { needs: (now) => [map(), now.sites()], draw: ({ showMap }, sites) => showMap(sites) },
    { needs: (now) => [map(), now.sites(), now.pairs()], draw: ({ showPairs }, sites, pairs) => {
      showPairs(pairs);
      showCounts({ ...sites.counts, pairs: pairs.count });
    } }),
  new Part("slope", { needs: (now) => [slope(), now.sites()], draw: ({ showSlope }, sites) => showSlope(sites) }),
  new Part("spread", { needs: (now) => [spread(), now.sites(), now.pairs()], draw: ({ showSpread }, sites, pairs) => showSpread(sites, pairs) }),
  new Part("leaders", { needs: (now) => [now.sites(), now.pairs(), now.board()], draw: showLeaders }),
];

function showRest({ counts, points }, state) {
  showCounts(counts);
  byId("day-rest").hidden = false;
  byId("take-part").hidden = state !== "announced" || counts.runs > 0;
  if (counts.runs === 0) {
    fill(byId("map-title"), word("nation.map_title_before"));
    fill(byId("map-words"), word("nation.map_words_before"));
  }
  byId("slope").hidden = points.length < 2;
  for (const part of ["spread", "leaders", "left-out"]) byId(part).hidden = counts.runs === 0;
}

async function show() {
  const answer = await loadAnswer(day);
  setTitle(answer.record.name);
  showAnswer(answer);
  showPublished(answer.editions);
  reveal("day-page");
  const now = look(day, answer);
  const sites = await now.sites();
  showRest(sites, answer.record.state);
  showLeftOut(sites);
  showFiles(day);
  last = now;
  if (parts !== null) {
    await Promise.all(parts.filter(({ near }) => near).map((part) => part.show(now)));
    return now;
  }
  parts = makeParts();
  for (const part of parts) part.follow(() => last, sites.counts.sites <= SMALL);
  return now;
}

begin({ ...tableWords, ...dayWords, ...words }, async () => {
  if ((await attemptPage(show)) !== undefined) follow(day, show);
});
