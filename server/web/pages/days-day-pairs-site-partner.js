// SPDX-License-Identifier: MIT
// Two schools on one meridian and what they found together.
import { Refusal, get, here, path } from "../house/api.js";
import { byId, fill } from "../house/dom.js";
import { measured } from "../house/format.js";
import { attemptPage, begin, reveal, setTitle } from "../house/page.js";
import { word } from "../house/words.js";
import { showPair } from "../run/pair_part.js";
import pairWords from "../words/pair.json";
import tableWords from "../words/table.json";

const { day, site, partner } = here("/days/{day}/pairs/{site}/{partner}");

async function show() {
  const found = (await get(`${path`/days/${day}/sites/${site}`}/pairs?limit=500`)).pairs
    .find((pair) => [pair.site1, pair.site2].includes(partner));
  if (found === undefined) throw new Refusal(404, "no_pair", "", "");
  const { handbook_km } = await get(path`/days/${day}/result`);
  const [one, two] = await Promise.all([site, partner].map(async (name) => {
    const [place, { reduction }] = await Promise.all([get(path`/sites/${name}`), get(`${path`/days/${day}/sites/${name}`}/run`)]);
    return { ...place, ...reduction };
  }));
  const title = `${one.name} – ${two.name}`;
  setTitle(title);
  fill(byId("pair-title"), title);
  byId("to-run").href = path`/days/${day}/sites/${site}/run`;
  fill(byId("to-run"), word("pair.back", { school: one.name }));
  fill(byId("figure"), found.circumference_km === null ? word("pair.no_figure") : measured(found.circumference_km, found.sigma_km, "km"));
  fill(byId("figure-words"), word("pair.made_by"));
  showPair(byId("pair"), found, one, two, one.declination_deg, handbook_km);
  reveal("pair-page");
  return found;
}

begin({ ...tableWords, ...pairWords }, () => attemptPage(show, [[path`/days/${day}`, word("house.to_day")]]));
