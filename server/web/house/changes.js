// SPDX-License-Identifier: MIT
// What an edition changes against the one before, said from a change's name and figures.
import { number, withSigma } from "./format.js";
import { word, wordOf } from "./words.js";

const asIs = (value) => value;
const km = (value, sigma) => {
  const shown = withSigma(value, sigma);
  return `${shown.value}${shown.sigma === null ? "" : ` ± ${shown.sigma}`} km`;
};

// Of changes that are more than a place: what it is now and was before, and how it is shown.
const FIGURES = {
  result: [({ circumference_km, sigma_km }) => [circumference_km, sigma_km], ({ circumference_before_km, sigma_before_km }) => [circumference_before_km, sigma_before_km], km],
  method: [({ method }) => [method], ({ method_before }) => [method_before], asIs],
  withdrawn: [({ count }) => [count], ({ count_before }) => [count_before], number],
  not_agreed: [({ count }) => [count], ({ count_before }) => [count_before], number],
  run_corrected: [({ run }) => [run], ({ run_before }) => [run_before], asIs],
};

// named: a site's name by its identifier. Editions that were published before changes had
// figures are left in their own words, like changes that are not known here.
export function changeSays(change, named) {
  const { change: name, day, site, run, reason, words } = change;
  const values = { day, run, school: site === undefined ? "" : named(site) };
  if (name === "excluded" && reason !== undefined)
    return change.reason_before === undefined ? word("change.excluded", { ...values, reason }) : word("change.excluded_again", { ...values, reason });
  if (name === "excluded") return words;
  const [nowOf, beforeOf, show] = FIGURES[name] ?? [];
  if (nowOf !== undefined) {
    const [now, before] = [nowOf(change), beforeOf(change)];
    if (before[0] === undefined) return words;
    Object.assign(values, { now: show(...now), before: show(...before) });
  }
  return wordOf("change.", name, words, values);
}
