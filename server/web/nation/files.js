// SPDX-License-Identifier: MIT
// The day's figures to take home, as the API gives them.
import { byId, fill, h } from "../house/dom.js";
import { path } from "../house/api.js";
import { word, wordOf } from "../house/words.js";

const FILES = ["sites.csv", "readings.csv", "reductions.csv", "pairs.csv", "line.csv", "sites.geojson", "result", "leaderboard"];

export function showFiles(day) {
  fill(byId("files"), FILES.map((file) =>
    h("li", {}, h("a", { href: `/api/v1${path`/days/${day}`}/${file}`, download: `${day}-${file.includes(".") ? file : `${file}.json`}` }, wordOf("nation.file_", file)))));
}
