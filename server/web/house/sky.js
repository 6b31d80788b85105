// SPDX-License-Identifier: MIT
// How a school's sky is: the choice, and saying it to the others.
import { ask, path } from "./api.js";
import { h } from "./dom.js";
import { wordOf } from "./words.js";

const SKIES = ["clear", "broken", "overcast", "gone_home"];

export const skyChoices = () => SKIES.map((sky) => h("label", { class: "choice" },
  h("input", { type: "radio", name: "sky", value: sky }), h("span", {}, wordOf("sky.state_", sky))));

export const saySky = (day, site, key, sky) => ask("PUT", path`/days/${day}/sites/${site}/sky`, { key, body: { sky } });
