// SPDX-License-Identifier: MIT
// Looks for fresh figures while the page is looked at. One look costs the service
// little: the browser sends the ETags it holds, and what has not changed is not sent.
import { byId, fill } from "../house/dom.js";
import { clockMinute } from "../house/format.js";
import { word } from "../house/words.js";
import { Refusal } from "../house/api.js";

const LOOK_MS = 20000;

export function follow(day, show) {
  let last = Date.now();
  let busy = false;
  const say = (key) => fill(byId("fresh"), word(key, { time: clockMinute(last) }));
  say("nation.fresh");
  const look = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      await show();
      last = Date.now();
      say("nation.fresh");
    } catch (failure) {
      if (!(failure instanceof Refusal)) throw failure;
      say("nation.stale");
    } finally {
      busy = false;
    }
  };
  setInterval(look, LOOK_MS);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && Date.now() - last > LOOK_MS) look();
  });
}
