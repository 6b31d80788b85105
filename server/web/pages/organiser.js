// SPDX-License-Identifier: MIT
// The organiser's desk: days with their states, seasons, and the ways to the rest.
import { table } from "../charts/table.js";
import { ask, get, getAll, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { parseNumber, shortDate } from "../house/format.js";
import { begin, reveal } from "../house/page.js";
import { word, wordOf } from "../house/words.js";
import { publishForm } from "../organiser/day_parts.js";
import { enter } from "../organiser/enter.js";
import { choice, field, form, text, tick, warnings } from "../organiser/form.js";
import tableWords from "../words/table.json";
import words from "../words/organiser.json";

let seasons = [];
let days = [];

async function showDays() {
  days = (await getAll("/days", "days")).reverse();
  fill(byId("days"), table(word("organiser.days"), [
    [word("organiser.day"), (day) => h("a", { href: path`/organiser/days/${day.day}` }, day.name)],
    [word("organiser.date"), (day) => shortDate(day.date)],
    [word("organiser.state"), (day) => wordOf("organiser.state_", day.state)],
    [word("organiser.season"), (day) => seasons.find(({ season }) => season === day.season)?.name ?? "–"],
  ], days, 20));
}

async function showSeasons() {
  seasons = await getAll("/seasons", "seasons");
  fill(byId("seasons"), table(word("organiser.seasons"), [
    [word("organiser.season"), (season) => season.name],
    [word("organiser.approval"), (season) => (season.approval ? word("organiser.approval_yes") : word("organiser.approval_no"))],
  ], seasons, 20));
}

function showOpenDay() {
  const open = async (values) => {
    const number = (name) => (values[name].trim() === "" ? null : parseNumber(values[name]));
    const opened = await ask("POST", "/days", {
      body: {
        date: values.date, name: values.name.trim() || null, spare_dates: values.spare.split(/[\s,;]+/).filter((date) => date !== ""),
        lon_tolerance_deg: number("lon_tolerance_deg"), min_separation_km: number("min_separation_km"), max_sigma_km: number("max_sigma_km"),
        season: values.season || null, state: values.planned === "on" ? "planned" : "announced",
      },
    });
    await showDays();
    showPublishSeason();
    return [word("organiser.opened"), " ", warnings(opened.warnings)];
  };
  fill(byId("open-day"), form(word("organiser.open"), [
    field(word("organiser.date"), text("date", { type: "date", required: true })),
    field(word("organiser.day_name"), text("name", { maxlength: 120 })),
    field(word("organiser.spare"), text("spare"), word("organiser.spare_hint")),
    field(word("organiser.tolerance"), text("lon_tolerance_deg", { inputmode: "decimal", value: "1" }), word("organiser.tolerance_hint")),
    field(word("organiser.separation"), text("min_separation_km", { inputmode: "decimal", value: "100" })),
    field(word("organiser.max_sigma"), text("max_sigma_km", { inputmode: "decimal" }), word("organiser.max_sigma_hint")),
    field(word("organiser.season"), choice("season", [["", word("organiser.season_none")], ...seasons.map(({ season, name }) => [season, name])])),
    tick("planned", word("organiser.as_planned")),
  ], open));
}

function showOpenSeason() {
  fill(byId("open-season"), form(word("organiser.open"), [
    field(word("organiser.season_name"), text("name", { maxlength: 120 })),
    tick("approval", word("organiser.approval_ask")),
  ], async (values) => {
    await ask("POST", "/seasons", { body: { name: values.name.trim(), approval: values.approval === "on" } });
    await showSeasons();
    showOpenDay();
    showPublishSeason();
    return word("organiser.opened");
  }));
}

// Which days an edition of the season would hold, as they stand.
function daysOf(season) {
  const held = days.filter((day) => day.season === season && ["announced", "closed"].includes(day.state)).reverse();
  if (held.length === 0) return h("p", {}, word("organiser.season_empty"));
  return [h("p", {}, word("organiser.season_holds")), h("ul", {}, held.map((day) => h("li", {},
    h("a", { href: path`/organiser/days/${day.day}` }, day.name), `, ${shortDate(day.date)}: `,
    day.state === "closed" ? wordOf("organiser.state_", day.state) : h("strong", {}, word("organiser.season_open")))))];
}

function showPublishSeason() {
  const which = choice("season", seasons.map(({ season, name }) => [season, name]));
  const place = h("div");
  const show = () => fill(place, daysOf(which.value), publishForm(path`/seasons/${which.value}/editions`));
  which.addEventListener("change", show);
  fill(byId("publish-season"), seasons.length === 0 ? h("p", {}, word("organiser.season_first"))
    : [h("p", {}, word("organiser.publish_words")), field(word("organiser.season"), which), place]);
  if (seasons.length > 0) show();
}

async function showPassword() {
  const { name } = await get("/session");
  fill(byId("password"), form(word("organiser.change_password"), [
    field(word("organiser.name"), text("name", { readonly: true, value: name, autocomplete: "username" })),
    field(word("organiser.old_password"), text("old_password", { type: "password", autocomplete: "current-password" })),
    field(word("organiser.new_password"), text("password", { type: "password", autocomplete: "new-password" }), word("organiser.password_hint")),
  ], async ({ old_password, password }) => {
    await ask("PUT", path`/organisers/${name}/password`, { body: { old_password, password } });
    return word("organiser.password_changed");
  }));
}

begin({ ...tableWords, ...words }, () => enter(async () => {
  reveal("inside");
  await showSeasons();
  await showDays();
  showOpenDay();
  showOpenSeason();
  showPublishSeason();
  await showPassword();
}));
