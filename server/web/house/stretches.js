// SPDX-License-Identifier: MIT
// The clock that a run's times were told by. A device's clock runs on undisturbed in
// stretches: a new one begins when the page is opened, and when the clock was seen to
// jump. Within a stretch it is off by the same amount, which is measured when there is
// a network; times are kept as the device told them, with the number of their stretch.
//
//   run.clocks  [{measured, set_s}], one a stretch
//     measured    {offset_s: clock minus true time, sigma_s} as last measured; null: never
//     set_s       by how much it was seen to be set back as the stretch began, 0 or below.
//                 One that jumped forward has slept, most likely: a later measurement tells.

const DRIFT_S = 1; // as far as a clock drifts by itself
const SIGMA_S = [0.001, 3600]; // as the API takes it
const within = (value) => Math.min(Math.max(value, SIGMA_S[0]), SIGMA_S[1]);

// Whether two measurements are of clocks that were set to different times: farther apart
// than drift, and than where they were measured to lie (the root of 3 times sigma).
const apart = (one, other) =>
  Math.abs(one.offset_s - other.offset_s) > DRIFT_S + Math.sqrt(3) * (one.sigma_s + other.sigma_s);

const lastOf = (run) => run.clocks.length - 1;

// jump_s: as clockJump tells it, 0 when the page is opened. A stretch of which nothing
// is told goes on as the new one.
export function beginStretch(run, jump_s = 0) {
  const set_s = Math.min(jump_s, 0);
  const last = run.clocks.at(-1);
  const idle = last !== undefined && last.measured === null && !run.readings.some(({ stretch }) => stretch === lastOf(run));
  if (idle) last.set_s += set_s;
  else run.clocks.push({ measured: null, set_s });
}

export function noteClock(run, measured) {
  const last = run.clocks.at(-1);
  if (last.measured !== null && apart(last.measured, measured)) run.clocks.push({ measured, set_s: 0 });
  else last.measured = measured;
}

const sum = (clocks) => clocks.reduce((whole, { set_s }) => whole + set_s, 0);
const moved = ({ offset_s, sigma_s }, by_s) => ({ offset_s: offset_s + by_s, sigma_s, seen_s: Math.abs(by_s) });

// A stretch's clock as the nearest ones tell it that were measured, before and after.
// seen_s: by how much the clock was seen to be set in between; it may have slept as well.
function neighbours({ clocks }, stretch) {
  let [i, j] = [stretch - 1, stretch + 1];
  while (i >= 0 && clocks[i].measured === null) i -= 1;
  while (j < clocks.length && clocks[j].measured === null) j += 1;
  return [
    i >= 0 && moved(clocks[i].measured, sum(clocks.slice(i + 1, stretch + 1))),
    j < clocks.length && moved(clocks[j].measured, -sum(clocks.slice(stretch + 1, j + 1))),
  ].filter(Boolean);
}

// What is known of a stretch's clock: {offset_s, sigma_s, doubt: whether it was set and
// nobody can tell when, or by how much}; null: nothing.
export function clockOfStretch(run, stretch) {
  const measured = run.clocks[stretch]?.measured ?? null;
  if (measured !== null) return { ...measured, doubt: false };
  const told = neighbours(run, stretch);
  const undisturbed = told.filter(({ seen_s }) => seen_s === 0);
  const [one, other] = undisturbed.length > 0 ? undisturbed : told;
  if (one === undefined) return null;
  const { offset_s, sigma_s, seen_s } = one;
  if (other !== undefined && !apart(one, other)) return { offset_s, sigma_s, doubt: false };
  // Of two either may hold; of a clock that was set, the rest may be sleep.
  const doubt_s = other !== undefined ? (other.offset_s - offset_s) / Math.SQRT2 : seen_s / Math.sqrt(12);
  return { offset_s, sigma_s: Math.hypot(sigma_s, doubt_s), doubt: doubt_s !== 0 };
}

// The true time of what the device told in a stretch, by the best that is known.
export const trueOf = (run, device_ms, stretch = lastOf(run)) =>
  Math.round(device_ms - (clockOfStretch(run, stretch)?.offset_s ?? 0) * 1000);

// The one clock that all times of a run are told by: of those its readings were taken by
// the one that was farthest off, so that nothing is put right unseen.
// {offset_s, sigma_s, doubt, was_set: there was more than one, base: that one's own};
// null: nothing is known.
export function clockOfRun(run, readings) {
  const known = [...new Set(readings.map(({ stretch }) => stretch))].map((stretch) => clockOfStretch(run, stretch));
  if (known.length === 0 || known.includes(null)) return null;
  const farthest = known.reduce((one, other) => (Math.abs(other.offset_s) > Math.abs(one.offset_s) ? other : one));
  const left_s = known.filter((clock) => !apart(clock, farthest)).map((clock) => Math.abs(clock.offset_s - farthest.offset_s));
  return {
    offset_s: farthest.offset_s,
    sigma_s: within(Math.hypot(Math.max(...known.map(({ sigma_s }) => sigma_s)), ...left_s)),
    doubt: known.some(({ doubt }) => doubt),
    was_set: left_s.length < known.length,
    base: farthest,
  };
}

// A reading's time by that clock: as the device told it, where it was told by that one.
export function toldMs(run, { device_ms, stretch }, clock) {
  const own = clockOfStretch(run, stretch);
  if (clock === null || own === null || !apart(own, clock.base)) return device_ms;
  return Math.round(device_ms + (clock.offset_s - own.offset_s) * 1000);
}
