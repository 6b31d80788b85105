// SPDX-License-Identifier: MIT
// How far this device's clock is off, measured against the server's. Of a few
// exchanges the quickest counts: the server told its time somewhere between the
// question and the answer, so the offset is known to half of that.
import { get } from "./api.js";

const EXCHANGES = 6;
const SIGMA_LEAST_S = 0.05; // browsers blur their clocks
const SET_MS = 500; // less is no hand at the clock

const micro = (value_s) => Math.round(value_s * 1e6) / 1e6;

// The device's clock goes as its steady counter goes, unless it is set. The counter may
// stand still while the device sleeps: then the clock seems to have been set forward.
const ahead_ms = () => Date.now() - performance.now();
let seen_ms = ahead_ms();

// By how much the clock jumped since this was asked last, seconds; 0: it did not.
export function clockJump() {
  const jump_ms = ahead_ms() - seen_ms;
  seen_ms += jump_ms;
  return Math.abs(jump_ms) < SET_MS ? 0 : jump_ms / 1000;
}

async function exchange() {
  const [asked_ms, from_ms] = [Date.now(), performance.now()];
  const { utc } = await get("/time", { headers: { "Cache-Control": "no-cache" } });
  const took_ms = performance.now() - from_ms;
  const disturbed = Math.abs(Date.now() - asked_ms - took_ms) > SET_MS;
  return { took_s: disturbed ? Infinity : took_ms / 1000, offset_s: (asked_ms + took_ms / 2 - Date.parse(utc)) / 1000 };
}

// {offset_s: device minus server, sigma_s: of that}, as the API's clock of a run; throws
// when the server is not reached.
export async function measureClock() {
  let quickest = { took_s: Infinity };
  for (let i = 0; i < EXCHANGES; i += 1) {
    const one = await exchange();
    if (one.took_s < quickest.took_s) quickest = one;
  }
  if (quickest.took_s === Infinity) return measureClock();
  // Anywhere in that time with even chance: its length over the root of 12.
  return { offset_s: micro(quickest.offset_s), sigma_s: Math.max(SIGMA_LEAST_S, micro(quickest.took_s / Math.sqrt(12))) };
}
