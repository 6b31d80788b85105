// SPDX-License-Identifier: MIT
// A run as the phone keeps it: times put right, what is sent, what an answer means.
import assert from "node:assert/strict";
import { webcrypto } from "node:crypto";
import test from "node:test";
import { byTime, counted, deliver, freeze, height_mm, isSent, newReading, newRun, trueMs } from "../../server/web/house/run.js";

globalThis.crypto ??= webcrypto; // Node 18 has it here only
const NOON_MS = Date.parse("2027-03-18T16:43:00Z");

function measured(clock = null) {
  const run = newRun();
  run.gnomon = { parts: [{ length_mm: 200 }, { length_mm: 1800 }], edge: "umbra" };
  run.clock = clock;
  for (const [i, shadow_mm] of [810, 800, 805].entries())
    run.readings.push({ ...newReading(NOON_MS + i * 60000, clock), shadow_mm });
  return run;
}
const accepted = { run: { id: 7 }, reduction: { status: "ok" } };
const refusal = (status, code) => Object.assign(new Error(code), { status, code });

test("a clock's error is taken at the time of the reading, or later where none was known", () => {
  const run = measured();
  assert.equal(trueMs(run, run.readings[0]), NOON_MS);
  run.clock = { offset_ms: -3600000, sigma_ms: 200 }; // known only now
  assert.equal(trueMs(run, run.readings[0]), NOON_MS - 3600000);
  run.readings[1].offset_ms = 5000; // known then
  assert.equal(trueMs(run, run.readings[1]), NOON_MS + 60000 + 5000);
  assert.deepEqual(byTime(run).map(({ shadow_mm }) => shadow_mm), [810, 805, 800]);
});

test("what is struck out or not measured stays here", () => {
  const run = measured();
  run.readings[0].struck = true;
  run.readings.push(newReading(NOON_MS + 200000, null));
  freeze(run, null);
  assert.deepEqual(run.pending.body.readings, [
    { time: "2027-03-18T16:44:00.000Z", shadow_mm: 800 }, { time: "2027-03-18T16:45:00.000Z", shadow_mm: 805 }]);
  assert.equal(run.pending.body.clock_sigma_s, null);
  assert.equal(counted(run).length, 2);
  assert.equal(height_mm(run.gnomon), 2000);
});

test("sent once it is answered, under one key until then", async () => {
  const run = measured({ offset_ms: 0, sigma_ms: 200 });
  freeze(run, null);
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
    assert.equal(await deliver(run, ask, "/runs", "code", () => NOON_MS), expected);
  }
  assert.equal(new Set(keys).size, 1);
  assert.match(keys[0], /^[0-9a-f]{32}$/);
  assert.ok(isSent(run));
  assert.deepEqual([run.pending, run.sent.run, run.sent.count], [null, 7, 3]);
  // Edited meanwhile: not sent any more, and the next one has a key of its own.
  run.readings[0].shadow_mm = 811;
  assert.ok(!isSent(run));
  freeze(run, 7);
  assert.notEqual(run.pending.key, keys[0]);
  assert.equal(run.pending.body.supersedes, 7);
});

test("a refusal is given back and nothing waits; a bug is not swallowed", async () => {
  const run = measured();
  freeze(run, null);
  const wrong = refusal(422, "lengths_swapped");
  assert.equal(await deliver(run, async () => { throw wrong; }, "/runs", "code", () => NOON_MS), wrong);
  assert.equal(run.pending, null);
  assert.equal(run.readings.length, 3);
  freeze(run, null);
  await assert.rejects(deliver(run, async () => { throw new TypeError("bug"); }, "/runs", "code", () => NOON_MS), TypeError);
});
