// SPDX-License-Identifier: MIT
// The map with its legend (which also hides and shows), its buttons, the search for a
// school, and what the chosen school came to.
import { OKABE_ITO, lookOf, sample, shapeNode } from "../charts/base.js";
import { CountryMap } from "../charts/map.js";
import { tableBeside } from "../charts/table.js";
import { byId, fill, h, s } from "../house/dom.js";
import { degrees, measured, number } from "../house/format.js";
import { path } from "../house/api.js";
import { word, wordOf } from "../house/words.js";
import { PAIR_STATES } from "./load.js";

// Each at 3:1 and more on its ground, or ringed with ink; "" is ink itself.
const SITES = [
  ["nothing", { shape: "ring", colour: "" }],
  ["clouded", { shape: "down", colour: OKABE_ITO.sky }],
  ["no_angle", { shape: "square", colour: OKABE_ITO.orange }],
  ["excluded", { shape: "cross", colour: "" }],
  ["measured", { shape: "circle", colour: OKABE_ITO.blue }],
  ["off_line", { shape: "diamond", colour: OKABE_ITO.vermillion }],
];
const PAIR_LOOKS = {
  no_count: { colour: "#8A8F94", dash: [2, 4] },
  within_1: { colour: OKABE_ITO.green, dash: [] },
  within_2: { colour: OKABE_ITO.blue, dash: [9, 4] },
  beyond_2: { colour: OKABE_ITO.vermillion, dash: [9, 3, 2, 3] },
};
const PAIRS = PAIR_STATES.map((state) => [state, PAIR_LOOKS[state]]);

let map = null;
let day = null;
let pairs = null; // come later than the sites

const siteSample = (look) => sample(shapeNode(look.shape, 14, 8, 5.2, lookOf(look)));
const pairSample = ({ colour, dash }) =>
  sample(s("line", { x1: 1, x2: 27, y1: 8, y2: 8, stroke: colour, "stroke-width": 2.6, "stroke-dasharray": dash.join(" ") || null }));

function legendRow(says, state, drawing, count) {
  return h("li", {}, h("label", {},
    h("input", { type: "checkbox", checked: !map.hidden.has(state), on: { change: (event) => map.toggle(state, event.target.checked) } }),
    drawing, h("span", {}, says, " ", h("span", { class: "sigma" }, count))));
}

function tally(states) {
  const sums = new Map();
  for (const state of states) sums.set(state, (sums.get(state) ?? 0) + 1);
  return sums;
}

function showLegend() {
  const sites = tally(day.sites.map(({ state }) => state));
  const lines = pairs === null ? null : tally(pairs.state);
  const count = (state) => (lines === null ? "…" : number(lines.get(PAIR_STATES.indexOf(state)) ?? 0));
  // Before the readings there is one kind of school, and no pair.
  const early = day.counts.runs === 0;
  fill(byId("map-legend"),
    h("fieldset", {}, h("legend", {}, word("nation.legend_sites")), h("ul", {},
      [...SITES].reverse().filter(([state]) => !early || sites.has(state)).map(([state, look]) => legendRow(wordOf("nation.site_", state), state, siteSample(look), number(sites.get(state) ?? 0))))),
    !early && h("fieldset", {}, h("legend", {}, word("nation.legend_pairs")), h("ul", {},
      [...PAIRS.slice(1), PAIRS[0]].map(([state, look]) => legendRow(wordOf("nation.pair_", state), state, pairSample(look), count(state))))));
}

const runAddress = (site) => path`/days/${day.day}/sites/${site}/run`;

function showPicked(site) {
  if (site === null) {
    fill(byId("map-picked"), h("p", {}, word("nation.pick_hint")));
    return;
  }
  const { reduction } = site;
  fill(byId("map-picked"),
    h("h3", {}, site.name || site.site),
    h("p", {}, wordOf("nation.site_", site.state), ". ",
      reduction?.noon_angle_deg !== null && reduction !== undefined && [
        word("nation.noon_angle"), " ", measured(Math.abs(reduction.noon_angle_deg), reduction.sigma_deg, "°"), ". ",
        pairs?.partners[site.at] > 0 && word("nation.partners", { count: number(pairs.partners[site.at]) })]),
    h("p", {}, reduction !== undefined ? h("a", { href: runAddress(site.site) }, word("nation.see_run"))
      : h("a", { href: path`/days/${day.day}/sites/${site.site}` }, word("nation.see_plan"))));
}

// Schools by the start of a word in their name or by identifier.
function search(text) {
  const wanted = text.trim().toLocaleLowerCase();
  if (wanted === "") return undefined;
  return day.sites.find((site) => site.site === wanted)
    ?? day.sites.find((site) => (site.name || "").toLocaleLowerCase().startsWith(wanted))
    ?? day.sites.find((site) => (site.name || "").toLocaleLowerCase().includes(wanted));
}

function makeControls() {
  const button = (label, sign, work) => h("button", { type: "button", class: "small", "aria-label": label, title: label, on: { click: work } }, sign);
  const nothing = h("p", { class: "hint", role: "status" });
  fill(byId("map-controls"),
    h("div", { class: "row" },
      button(word("nation.map_in"), "+", () => map.zoom(1.6)), button(word("nation.map_out"), "−", () => map.zoom(1 / 1.6)),
      button(word("nation.map_west"), "←", () => map.move(-0.25, 0)), button(word("nation.map_north"), "↑", () => map.move(0, 0.25)),
      button(word("nation.map_south"), "↓", () => map.move(0, -0.25)), button(word("nation.map_east"), "→", () => map.move(0.25, 0)),
      h("button", { type: "button", class: "small", on: { click: () => map.whole() } }, word("nation.map_whole"))),
    h("form", {
      class: "row", role: "search",
      on: {
        submit: (event) => {
          event.preventDefault();
          const found = search(event.target.elements.school.value);
          fill(nothing, found === undefined && word("nation.find_none"));
          if (found !== undefined) map.find(found.site);
        },
      },
    }, h("label", {}, word("nation.find"), " ", h("input", { name: "school", type: "search", autocomplete: "off" })),
      h("button", { type: "submit", class: "small" }, word("nation.find_go"))),
    nothing);
}

export function showMap(loaded) {
  day = loaded;
  if (map === null) {
    map = new CountryMap(byId("map"), { label: word("nation.map_label"), pick: showPicked, looks: { sites: SITES, pairs: PAIRS } });
    makeControls();
    showPicked(null);
    fill(byId("map-table"),
      tableBeside(word("nation.table_sites"), [
        [word("nation.school"), (site) => (site.reduction === undefined ? site.name || site.site : h("a", { href: runAddress(site.site) }, site.name || site.site))],
        [word("nation.position"), (site) => `${degrees(site.lat_deg, 2, word("nation.north"), word("nation.south"))}, ${degrees(site.lon_deg, 2, word("nation.east"), word("nation.west"))}`, true],
        [word("nation.what_became"), (site) => wordOf("nation.site_", site.state)],
        [word("nation.noon_angle_deg"), (site) => measured(site.reduction?.noon_angle_deg ?? null, site.reduction?.sigma_deg ?? null), true],
        [word("nation.pairs_count"), (site) => (pairs === null ? "…" : number(pairs.partners[site.at] ?? 0)), true],
      ], () => day.sites));
  }
  showLegend();
  map.show(day.sites);
}

export function showPairs(loaded) {
  pairs = loaded;
  showLegend();
  map.showPairs(pairs);
}
