// SPDX-License-Identifier: MIT
// How far this device's clock is off, told by the server's own. The server says
// whole seconds (the header Date); several answers together narrow that down.

const SAMPLES = 4;
const APART_MS = 370; // no whole part of a second

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

// {offset_ms: server minus device, sigma_ms}; throws when the server is not reached.
export async function measureClock() {
  let low = -Infinity;
  let high = Infinity;
  for (let i = 0; i < SAMPLES; i += 1) {
    if (i > 0) await pause(APART_MS);
    const sent = Date.now();
    const answer = await fetch("/health/live", { cache: "no-store" });
    const received = Date.now();
    const told = Date.parse(answer.headers.get("Date"));
    low = Math.max(low, told - received);
    high = Math.min(high, told + 1000 - sent);
  }
  // A clock set meanwhile leaves nothing between the two.
  if (!(low <= high)) return measureClock();
  return { offset_ms: (low + high) / 2, sigma_ms: Math.max(50, (high - low) / Math.sqrt(12)) };
}
