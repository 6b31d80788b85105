// SPDX-License-Identifier: MIT
// A site's run of a day with all that its page shows, and the science computed again
// on this very device: the curve, the way of each reading from ground to sky, and the
// way of noon itself.
import { get, path } from "../house/api.js";
import { forScience } from "../house/run.js";

const POINTS = 80; // of the drawn curve

// The steps of a shadow that nobody marked: the one at noon, read off the curve.
function noonSteps(phone, place, sun, run, day, noon_s, shadow_mm) {
  const { steps } = phone.reduce(place, sun, { ...run, readings: [{ t_utc_s: noon_s, shadow_mm }] }, day);
  return steps[0];
}

// The shadows of noon angles one sigma up and down come from the slope of the curve of
// tangents about noon: apparent angle by apparent angle.
function noonBand(steps, height_mm, sigma_deg) {
  const tangent = (angle_deg) => height_mm * Math.tan((angle_deg * Math.PI) / 180);
  return { low_mm: tangent(steps.shadow_deg - sigma_deg), high_mm: tangent(steps.shadow_deg + sigma_deg) };
}

// What the service says: the figure, its pairs.
export async function loadRun(day, site) {
  const base = path`/days/${day}/sites/${site}`;
  const [record, place, { run, reduction }, { pairs }, { handbook_km }] = await Promise.all([
    get(path`/days/${day}`), get(path`/sites/${site}`), get(`${base}/run`), get(`${base}/pairs?limit=500`),
    get(path`/days/${day}/result`),
  ]);
  return { record, place, run, reduction, pairs, handbook_km, height_mm: run.gnomon.parts.reduce((sum, part) => sum + part.length_mm, 0) };
}

// How it comes about, computed here: adds the readings one by one, curve, steps, noon.
export async function workOut(loaded) {
  const { record, place, run, reduction } = loaded;
  // The Sun of the date by the site's own meridian.
  const date = new Date(Date.parse(reduction.transit_utc) + (place.lon_deg / 15) * 3600e3).toISOString().slice(0, 10);
  const [phone, sun] = await Promise.all([import("../house/phone_science.js").then(({ science }) => science), get(path`/suns/${date}`)]);
  const sent = forScience(run);
  const again = phone.reduce(place, sun, sent, record);
  // By the class's own clock, as its readings are.
  const noon_s = Date.parse(reduction.transit_utc) / 1000 + reduction.clock_offset_s;
  const times = [...sent.readings.map((reading) => reading.t_utc_s), noon_s];
  const [from, to] = [Math.min(...times) - 180, Math.max(...times) + 180];
  loaded.curve = Array.from({ length: POINTS + 1 }, (_, i) => from + (i * (to - from)) / POINTS)
    .map((t_s) => ({ ms: t_s * 1000, shadow_mm: phone.curve_mm(t_s) }));
  const shadow_mm = phone.curve_mm(noon_s);
  loaded.again = again;
  loaded.steps = noonSteps(phone, place, sun, sent, record, noon_s, shadow_mm);
  loaded.noon = { ms: noon_s * 1000, shadow_mm, ...noonBand(loaded.steps, loaded.height_mm, reduction.sigma_deg) };
  const outOf = new Map(reduction.left_out.map((out) => [out.reading, out]));
  loaded.readings = sent.readings.map((reading, i) => ({
    ms: reading.t_utc_s * 1000, shadow_mm: reading.shadow_mm, bearing_deg: reading.bearing_deg ?? null, left_out: outOf.get(i) ?? null,
    instead_mm: outOf.get(i)?.instead_mm ?? null, name: String(i + 1), residual_deg: again.steps[i].residual_deg, zenith_deg: again.steps[i].zenith_deg,
  }));
}
