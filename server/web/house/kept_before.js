// SPDX-License-Identifier: MIT
// Runs that an earlier edition of the playground kept: each reading then had how much
// the device's clock was slow (offset_ms, null: not known then), the run what was
// measured last (clock: {offset_ms, sigma_ms}). Taken on as they are now, once.
import { printOf } from "./run.js";
import { noteClock } from "./stretches.js";

const SIGMA_S = 0.3; // four whole seconds of the server, compared

const clockOf = (slow_ms, sigma_ms) => ({ offset_s: -slow_ms / 1000, sigma_s: sigma_ms === undefined ? SIGMA_S : sigma_ms / 1000 });

// What it took as the mark of a run that was handed in.
function printThen(run) {
  const slow_ms = ({ offset_ms }) => offset_ms ?? run.clock?.offset_ms ?? 0;
  const readings = run.readings.filter(({ struck, shadow_mm }) => !struck && shadow_mm !== null)
    .map((reading) => ({ ...reading, ms: Math.round(reading.device_ms + slow_ms(reading)) })).sort((one, other) => one.ms - other.ms);
  return JSON.stringify([run.gnomon, readings.map(({ ms, shadow_mm, bearing_deg }) => [ms, shadow_mm, ...((bearing_deg ?? null) === null ? [] : [bearing_deg])])]);
}

export function asKeptNow(kept) {
  if (kept === undefined || kept.clocks !== undefined) return kept;
  const { clock, ...run } = structuredClone(kept);
  run.clocks = [];
  run.readings = run.readings.map(({ offset_ms, ...reading }) => {
    if (run.clocks.length === 0) run.clocks.push({ measured: null, set_s: 0 });
    if (offset_ms !== null) noteClock(run, clockOf(offset_ms));
    return { ...reading, stretch: run.clocks.length - 1 };
  });
  if (clock !== null) run.clocks.push({ measured: clockOf(clock.offset_ms, clock.sigma_ms), set_s: 0 });
  for (const told of [run.sent, run.pending]) if (told !== null && told.print === printThen(kept)) told.print = printOf(run);
  return run;
}
