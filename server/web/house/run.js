// SPDX-License-Identifier: MIT
// A run as the playground keeps it, and what becomes of it when it is handed in.
//
//   gnomon    {parts: [{length_mm}], edge}, null before it stands
//   readings  {id, device_ms, offset_ms, shadow_mm, bearing_deg, struck}: time by the
//             device's own clock, how far that was off (null: not known then), length
//             (null: not measured yet), direction on the plate (null: not taken)
//   clock     {offset_ms, sigma_ms} as last measured, null: never
//   pending   {key, body, print}: frozen, on its way until it is answered
//   sent      {run, at_ms, print, count} of what was accepted last
//   reduction of it, as the server told

export const newRun = () => ({ gnomon: null, readings: [], clock: null, pending: null, sent: null, reduction: null });

const token = (bytes) => [...crypto.getRandomValues(new Uint8Array(bytes))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

export const newReading = (device_ms, clock) =>
  ({ id: token(8), device_ms, offset_ms: clock?.offset_ms ?? null, shadow_mm: null, bearing_deg: null, struck: false });

// The time of a reading by the best that is known of the device's clock.
export const trueMs = (run, reading) => Math.round(reading.device_ms + (reading.offset_ms ?? run.clock?.offset_ms ?? 0));

export const byTime = (run) => [...run.readings].sort((one, other) => trueMs(run, one) - trueMs(run, other));
export const counted = (run) => byTime(run).filter(({ struck, shadow_mm }) => !struck && shadow_mm !== null);

export const height_mm = (gnomon) => gnomon.parts.reduce((sum, { length_mm }) => sum + length_mm, 0);

// Its direction, where one was taken.
const turned = ({ bearing_deg }) => ((bearing_deg ?? null) === null ? {} : { bearing_deg });

// What would be handed in now, as text, to be compared.
export const printOf = (run) => JSON.stringify([run.gnomon, counted(run).map((reading) => [trueMs(run, reading), reading.shadow_mm, ...Object.values(turned(reading))])]);
export const isSent = (run) => run.sent !== null && run.sent.print === printOf(run);

// Freezes the run as it stands. supersedes: the run it corrects, null for the first.
export function freeze(run, supersedes) {
  // A press of the button is good to a second; a clock that was never compared is
  // left to what the reduction takes for one.
  const clock_sigma_s = run.clock === null ? null : Math.max(1, run.clock.sigma_ms / 1000);
  const body = {
    gnomon: run.gnomon,
    readings: counted(run).map((reading) => ({ time: new Date(trueMs(run, reading)).toISOString(), shadow_mm: reading.shadow_mm, ...turned(reading) })),
    clock_sigma_s,
    supersedes,
  };
  run.pending = { key: token(16), body, print: printOf(run) };
}

// The run as the science takes it.
export const forScience = (run) => ({
  gnomon: run.gnomon,
  clock_sigma_s: run.clock === null ? null : Math.max(1, run.clock.sigma_ms / 1000),
  readings: counted(run).map((reading) => ({ t_utc_s: trueMs(run, reading) / 1000, shadow_mm: reading.shadow_mm })),
});

const LATER = [0, 408, 429, 500, 502, 503, 504];

// Sends what is pending, under the same key until it is answered. Gives "sent",
// "later" (it stays pending), or the refusal.
export async function deliver(run, ask, path, key, now_ms) {
  const { pending } = run;
  try {
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
