// SPDX-License-Identifier: MIT
// A run as the phone keeps it: times put right, what is sent, what an answer means.
import assert from "node:assert/strict";
import { webcrypto } from "node:crypto";
import test from "node:test";
import { asKeptNow } from "../../server/web/house/kept_before.js";
import { asSent, byTime, counted, deliver, forScience, height_mm, isSent, newReading, newRun, request, trueMs } from "../../server/web/house/run.js";
import { beginStretch, clockOfRun, clockOfStretch, noteClock, trueOf } from "../../server/web/house/stretches.js";

globalThis.crypto ??= webcrypto; // Node 18 has it here only
const NOON_MS = Date.parse("2027-03-18T16:43:00Z");
const fast = (offset_s, sigma_s = 0.1) => ({ offset_s, sigma_s });

function read(run, device_ms, shadow_mm) {
  run.readings.push({ ...newReading(run, device_ms), shadow_mm });
}

function opened(clock = null) {
  const run = newRun();
  run.gnomon = { parts: [{ length_mm: 200 }, { length_mm: 1800 }], edge: "umbra" };
  beginStretch(run);
  if (clock !== null) noteClock(run, clock);
  return run;
}
function measured(clock = null) {
  const run = opened(clock);
  [810, 800, 805].forEach((shadow_mm, i) => read(run, NOON_MS + i * 60000, shadow_mm));
  return run;
}
const accepted = { run: { id: 7 }, reduction: { status: "ok" } };
const refusal = (status, code) => Object.assign(new Error(code), { status, code });
const times = (run) => asSent(run).readings.map(({ time }) => Date.parse(time) - NOON_MS);

test("times are sent as the device told them, with how far its clock is off", () => {
  for (const offset_s of [0, -95, 3600, 8 * 86400]) {
    const run = measured(fast(offset_s));
    assert.deepEqual(times(run), [0, 60000, 120000]);
    assert.deepEqual(asSent(run).clock, fast(offset_s));
    assert.equal(asSent(run).clock_sigma_s, 1); // of a press of the button
    assert.equal(trueMs(run, run.readings[0]), NOON_MS - offset_s * 1000); // what is shown
    assert.equal(trueOf(run, NOON_MS), NOON_MS - offset_s * 1000);
  }
});

test("a clock that was never measured is nothing that is sent; measured later it counts for all", () => {
  const run = measured();
  assert.deepEqual([asSent(run).clock, asSent(run).clock_sigma_s], [null, null]);
  assert.equal(trueMs(run, run.readings[0]), NOON_MS);
  // Closed and opened again, now with a network.
  beginStretch(run);
  noteClock(run, fast(3600));
  assert.equal(trueMs(run, run.readings[0]), NOON_MS - 3600000);
  assert.deepEqual(asSent(run).clock, fast(3600));
  assert.deepEqual(times(run), [0, 60000, 120000]);
});

test("a clock that drifts is one clock, and a reading's time stays what it was", () => {
  const run = measured(fast(2));
  beginStretch(run);
  noteClock(run, fast(2.8));
  read(run, NOON_MS + 180000, 815);
  assert.deepEqual(times(run), [0, 60000, 120000, 180000]);
  const clock = clockOfRun(run, run.readings);
  assert.equal(clock.offset_s, 2.8);
  assert.ok(Math.abs(clock.sigma_s - Math.hypot(0.1, 0.8)) < 1e-12); // what it drifted is in doubt
  assert.equal(clock.was_set, false);
});

test("a clock set between readings: all are told by the one that was farther off", () => {
  for (const [first_s, then_s] of [[3600, 0.2], [0.2, 3600], [-1800, 40]]) {
    const run = measured(fast(first_s));
    beginStretch(run, then_s - first_s);
    noteClock(run, fast(then_s));
    read(run, NOON_MS + 180000 + (then_s - first_s) * 1000, 815); // three minutes later
    const clock = clockOfRun(run, run.readings);
    const farther_s = Math.abs(first_s) > Math.abs(then_s) ? first_s : then_s;
    assert.equal(clock.offset_s, farther_s);
    assert.ok(clock.was_set);
    const moved = (farther_s - first_s) * 1000;
    assert.deepEqual(times(run), [0, 60000, 120000, 180000].map((ms) => ms + moved));
    // Shown in their true order, at their true times.
    assert.deepEqual(byTime(run).map((reading) => trueMs(run, reading) - NOON_MS + first_s * 1000), [0, 60000, 120000, 180000]);
    // The readings of one clock struck out, it is the other's run.
    for (const reading of run.readings.slice(0, 3)) reading.struck = true;
    assert.equal(asSent(run).clock.offset_s, then_s);
  }
});

test("set back without a network: seen, and certain once it is measured", () => {
  const run = measured(fast(3600));
  beginStretch(run, -3600);
  // By as much as was seen; but it may have slept as well.
  assert.deepEqual(clockOfStretch(run, 1), { offset_s: 0, sigma_s: Math.hypot(0.1, 3600 / Math.sqrt(12)), doubt: true });
  beginStretch(run, 1200); // slept; no reading in between: the same stretch
  assert.equal(run.clocks.length, 2);
  read(run, NOON_MS - 3600000 + 240000, 820);
  beginStretch(run, 1200);
  noteClock(run, fast(200));
  assert.deepEqual(clockOfStretch(run, 1), { offset_s: 200, sigma_s: 0.1, doubt: false });
  assert.equal(clockOfRun(run, run.readings).doubt, false);
  // Measured only afterwards, it tells of before as well as it can.
  const late = measured();
  beginStretch(late, -3600);
  noteClock(late, fast(0.5));
  assert.deepEqual([clockOfStretch(late, 0).offset_s, clockOfStretch(late, 0).doubt], [3600.5, true]);
  // Set and set back: before and after agree.
  const twice = opened(fast(10));
  for (const jump_s of [-600, -60, -40]) {
    beginStretch(twice, jump_s);
    read(twice, NOON_MS, 800);
  }
  beginStretch(twice);
  noteClock(twice, fast(-690));
  assert.deepEqual(clockOfStretch(twice, 2), { offset_s: -650, sigma_s: 0.1, doubt: false });
});

test("set nobody knows when: either, and as much in doubt", () => {
  const run = opened(fast(0));
  beginStretch(run); // opened, without a network
  read(run, NOON_MS, 810);
  beginStretch(run); // opened again
  noteClock(run, fast(600));
  const clock = clockOfRun(run, run.readings);
  assert.equal(clock.offset_s, 0);
  assert.ok(clock.doubt);
  assert.ok(Math.abs(clock.sigma_s - Math.hypot(0.1, 600 / Math.SQRT2)) < 1e-9);
  // And where both agree there is no doubt.
  noteClock(run, fast(0.3));
  assert.equal(run.clocks.length, 4); // another jump that nobody saw
  run.clocks[2].measured = fast(0.2);
  assert.ok(!clockOfRun(run, run.readings).doubt);
  // Never wider than the API takes.
  run.clocks[2].measured = fast(1e9);
  assert.equal(asSent(run).clock.sigma_s, 3600);
});

test("the science takes what is sent", () => {
  const { readings, ...rest } = forScience(asSent(measured(fast(30))));
  assert.deepEqual(readings[1], { t_utc_s: NOON_MS / 1000 + 60, shadow_mm: 800 });
  assert.deepEqual(rest.clock, fast(30));
});

test("what is struck out or not measured stays here", () => {
  const run = measured();
  run.readings[0].struck = true;
  run.readings.push(newReading(run, NOON_MS + 200000));
  run.readings[2].bearing_deg = 12.5;
  assert.deepEqual(asSent(run).readings, [
    { time: "2027-03-18T16:44:00.000Z", shadow_mm: 800 }, { time: "2027-03-18T16:45:00.000Z", shadow_mm: 805, bearing_deg: 12.5 }]);
  assert.equal(counted(run).length, 2);
  assert.equal(height_mm(run.gnomon), 2000);
});

test("what an earlier edition of the page kept is taken on, sent or waiting", () => {
  const reading = (i, offset_ms) => ({ id: `r${i}`, device_ms: NOON_MS + i * 60000, offset_ms, shadow_mm: 810 - i, bearing_deg: null, struck: false });
  const kept = {
    gnomon: { parts: [{ length_mm: 2000 }], edge: "umbra" }, clock: { offset_ms: -3600000, sigma_ms: 200 }, pending: null, reduction: null,
    readings: [reading(0, null), reading(1, -3600040), reading(2, -3599980)],
    sent: { run: 3, at_ms: NOON_MS, count: 3, print: "" },
  };
  // As it printed it: gnomon, then the times put right and the lengths.
  kept.sent.print = JSON.stringify([kept.gnomon, [[NOON_MS - 3600000, 810], [NOON_MS + 60000 - 3600040, 809], [NOON_MS + 120000 - 3599980, 808]]]);
  const run = asKeptNow(kept);
  assert.ok(isSent(run));
  assert.deepEqual(times(run), [0, 60000, 120000]);
  assert.ok(Math.abs(asSent(run).clock.offset_s - 3600) < 0.1);
  assert.equal(asKeptNow(run), run);
  assert.equal(asKeptNow(undefined), undefined);
  const waiting = asKeptNow({ ...kept, clock: null, sent: null, pending: { key: "k", body: { readings: [] }, print: "other" } });
  assert.equal(waiting.pending.key, "k");
  beginStretch(waiting);
  assert.equal(trueMs(waiting, waiting.readings[0]), NOON_MS - 3599980);
});

const home = { now_ms: () => NOON_MS, compareClock: async () => true, keep: async () => {} };

test("the clock is measured before the run is frozen, and what is frozen is kept", async () => {
  const run = measured();
  request(run, null);
  assert.equal(await deliver(run, null, "/runs", "code", { ...home, compareClock: async () => false }), "later");
  assert.equal(run.pending.body, null);
  run.readings[1].shadow_mm = 801; // mended while it waits
  let kept = null;
  const way = { ...home, compareClock: async () => { noteClock(run, fast(95)); return true; }, keep: async () => { kept = structuredClone(run.pending); } };
  const ask = async () => {
    assert.deepEqual(kept, run.pending);
    throw refusal(0, "network");
  };
  assert.equal(await deliver(run, ask, "/runs", "code", way), "later");
  assert.deepEqual([kept.body.clock, kept.body.readings[1].shadow_mm, kept.body.supersedes], [fast(95), 801, null]);
  // It goes as it was frozen, whatever comes.
  run.readings[1].shadow_mm = 802;
  await deliver(run, async (method, path, { body }) => { assert.deepEqual(body, kept.body); return accepted; }, "/runs", "code", way);
  assert.ok(!isSent(run));
});

test("sent once it is answered, under one key until then", async () => {
  const run = measured(fast(0, 0.2));
  request(run, null);
  const keys = [];
  const answers = [refusal(0, "network"), refusal(503, "busy"), refusal(429, "too_many_requests"), accepted];
  const ask = async (method, path, { headers }) => {
    keys.push(headers["Idempotency-Key"]);
    const answer = answers.shift();
    if (answer instanceof Error) throw answer;
    return answer;
  };
  for (const expected of ["later", "later", "later", "sent"]) {
    assert.ok(!isSent(run));
    assert.equal(await deliver(run, ask, "/runs", "code", home), expected);
  }
  assert.equal(new Set(keys).size, 1);
  assert.match(keys[0], /^[0-9a-f]{32}$/);
  assert.ok(isSent(run));
  assert.deepEqual([run.pending, run.sent.run, run.sent.count], [null, 7, 3]);
  // Edited meanwhile: not sent any more, and the next one has a key of its own.
  run.readings[0].shadow_mm = 811;
  assert.ok(!isSent(run));
  request(run, 7);
  assert.notEqual(run.pending.key, keys[0]);
  assert.equal(run.pending.supersedes, 7);
});

test("a refusal is given back and nothing waits; a bug is not swallowed", async () => {
  const run = measured();
  request(run, null);
  const wrong = refusal(422, "lengths_swapped");
  assert.equal(await deliver(run, async () => { throw wrong; }, "/runs", "code", home), wrong);
  assert.equal(run.pending, null);
  assert.equal(run.readings.length, 3);
  request(run, null);
  await assert.rejects(deliver(run, async () => { throw new TypeError("bug"); }, "/runs", "code", home), TypeError);
});
