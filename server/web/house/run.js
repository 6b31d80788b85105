// SPDX-License-Identifier: MIT
// A run as the playground keeps it, and what becomes of it when it is handed in.
//
//   gnomon    {parts: [{length_mm}], edge}, null before it stands
//   readings  {id, device_ms, stretch, shadow_mm, bearing_deg, struck}: time by the
//             device's own clock and in which stretch of it, length (null: not measured
//             yet), direction on the plate (null: not taken)
//   clocks    how far that clock was off, stretch by stretch (stretches.js)
//   pending   {key, supersedes, body, print}: on its way until it is answered; body and
//             print are null before the first time it is sent
//   sent      {run, at_ms, print, count} of what was accepted last
//   reduction of it, as the server told
import { LATER, token } from "./again.js";
import { clockOfRun, toldMs, trueOf } from "./stretches.js";

export const newRun = () => ({ gnomon: null, readings: [], clocks: [], pending: null, sent: null, reduction: null });

export const newReading = (run, device_ms) =>
  ({ id: token(8), device_ms, stretch: run.clocks.length - 1, shadow_mm: null, bearing_deg: null, struck: false });

// The time of a reading, put right by the best that is known of the device's clock.
export const trueMs = (run, { device_ms, stretch }) => trueOf(run, device_ms, stretch);

export const byTime = (run) => [...run.readings].sort((one, other) => trueMs(run, one) - trueMs(run, other));
export const counted = (run) => byTime(run).filter(({ struck, shadow_mm }) => !struck && shadow_mm !== null);

export const height_mm = (gnomon) => gnomon.parts.reduce((sum, { length_mm }) => sum + length_mm, 0);

// Its direction, where one was taken.
const turned = ({ bearing_deg }) => ((bearing_deg ?? null) === null ? {} : { bearing_deg });

// What the class has done, as text, to be compared with what it has handed in.
export const printOf = (run) => JSON.stringify([run.gnomon, counted(run).map((reading) => [reading.device_ms, reading.shadow_mm, ...Object.values(turned(reading))])]);
export const isSent = (run) => run.sent !== null && run.sent.print === printOf(run);

const PRESS_SIGMA_S = 1; // of a press of the button

// The run as the API takes it: times as the device told them, and how far its clock was
// off. A clock that was never compared is left to what the reduction takes for one.
export function asSent(run) {
  const readings = counted(run);
  const clock = clockOfRun(run, readings);
  return {
    gnomon: run.gnomon,
    readings: readings.map((reading) => ({ time: new Date(toldMs(run, reading, clock)).toISOString(), shadow_mm: reading.shadow_mm, ...turned(reading) })),
    clock_sigma_s: clock === null ? null : PRESS_SIGMA_S,
    clock: clock === null ? null : { offset_s: clock.offset_s, sigma_s: clock.sigma_s },
  };
}

// A run of the API as the science takes it.
export const forScience = (sent) =>
  ({ ...sent, readings: sent.readings.map(({ time, ...reading }) => ({ ...reading, t_utc_s: Date.parse(time) / 1000 })) });

// Asks for the run to be handed in. supersedes: the run it corrects, null for the first.
export function request(run, supersedes) {
  run.pending = { key: token(16), supersedes, body: null, print: null };
}

// Freezes what is asked for: it is sent under one key until it is answered.
function freeze(run) {
  const { pending } = run;
  pending.body = { ...asSent(run), supersedes: pending.supersedes };
  pending.print = printOf(run);
}

// Sends what is pending. compareClock: measures the device's clock, false when the server
// is not reached; keep: keeps the run. Gives "sent", "later" (it stays pending), or the
// refusal.
export async function deliver(run, ask, path, key, { now_ms, compareClock, keep }) {
  const { pending } = run;
  try {
    if (pending.body === null) {
      if (!(await compareClock())) return "later";
      freeze(run);
      await keep();
    }
    const accepted = await ask("POST", path, { key, body: pending.body, headers: { "Idempotency-Key": pending.key } });
    run.sent = { run: accepted.run.id, at_ms: now_ms(), print: pending.print, count: pending.body.readings.length };
    run.reduction = accepted.reduction;
    run.pending = null;
    return "sent";
  } catch (refusal) {
    if (LATER.includes(refusal.status)) return "later";
    if (refusal.status === undefined) throw refusal;
    run.pending = null;
    return refusal;
  }
}
