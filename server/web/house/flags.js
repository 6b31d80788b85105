// SPDX-License-Identifier: MIT
// What gives reason to look at a run, said from the flag's name and figures.
import { clockTime, countWord, number, signed, span } from "./format.js";
import { word, wordOf } from "./words.js";

const slip = (name) => (name === null ? "" : wordOf("slip.", name));

// A clock beyond the day's bound ({offset_s, bound_s, applied_s}): by how much, and what
// the day's rule made of it.
export function clockOff({ offset_s, bound_s, applied_s }) {
  const values = { span: span(Math.round(Math.abs(offset_s))), bound: span(bound_s) };
  return `${word(offset_s > 0 ? "flagged.clock_fast" : "flagged.clock_slow", values)} ${word(applied_s !== 0 ? "flagged.clock_corrected" : "flagged.clock_kept")}`;
}

const says = {
  not_reduced: ({ status, noon_status, slip: name }) =>
    [wordOf("reduction.", status), status === "noon_unusable" && wordOf("noon.", noon_status), slip(name)].filter(Boolean).join(" "),
  whole_run: ({ slip: name }) => slip(name),
  readings_left_out: ({ left_out, readings, reading, utc, shadow_mm, slip: name }) => [
    countWord("flagged.left_out", left_out, { readings: number(readings) }),
    word("flagged.reading", { number: number(reading + 1), time: clockTime(Date.parse(utc), "UTC"), mm: number(shadow_mm, Number.isInteger(shadow_mm) ? 0 : 1) }),
    slip(name)].join(" "),
  clock_off: clockOff,
  ways_disagree: ({ noon_angle_deg, free_deg, apart_sigma }) =>
    word("flagged.ways", { free: number(free_deg, 3), angle: number(noon_angle_deg, 3), sigma: number(apart_sigma, 1) }),
  off_the_line: ({ residual_deg, apart_sigma }) => word("flagged.line", { residual: signed(residual_deg, 3), sigma: number(apart_sigma, 1) }),
};

// A sentence or two; of a flag not known here what the service says of it.
export const flagSays = ({ flag, words, details }) => says[flag]?.(details) ?? words;
