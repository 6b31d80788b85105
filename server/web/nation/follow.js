// SPDX-License-Identifier: MIT
// Fresh figures while the page is looked at. The service tells by server-sent events
// that something happened; what happened is then fetched, with the ETags that the
// browser holds, so that what has not changed is not sent. Where there is no stream to
// be had, the page looks by itself now and then.
import { byId, fill } from "../house/dom.js";
import { clockMinute } from "../house/format.js";
import { word } from "../house/words.js";
import { Refusal, path } from "../house/api.js";

const LOOK_MS = 20000; // without a stream
const REST_MS = 2000; // between two looks at least, and SHARE times what a look takes
const SHARE = 5;
const EVENTS = ["sky", "run", "partner", "result"];

export function follow(day, show) {
  let last = Date.now();
  let rest = REST_MS;
  let busy = false;
  let wanted = false;
  const say = (fresh) => fill(byId("fresh"), word(fresh ? "nation.fresh" : "nation.stale", { time: clockMinute(last) }));

  const look = async () => {
    wanted = true;
    if (busy || document.hidden) return;
    busy = true;
    wanted = false;
    const began = Date.now();
    try {
      await show();
      last = Date.now();
      say(true);
    } catch (failure) {
      if (!(failure instanceof Refusal)) throw failure;
      say(false);
    } finally {
      rest = Math.max(REST_MS, SHARE * (Date.now() - began));
      setTimeout(() => {
        busy = false;
        if (wanted) look();
      }, rest);
    }
  };

  let timer = null;
  const lookByItself = (needed) => {
    if (needed && timer === null) timer = setInterval(look, LOOK_MS);
    if (!needed && timer !== null) timer = clearInterval(timer) ?? null;
  };
  const stream = new EventSource(`/api/v1${path`/days/${day}`}/live`);
  for (const event of EVENTS) stream.addEventListener(event, look);
  stream.addEventListener("start", (event) => {
    lookByItself(false);
    if (JSON.parse(event.data).missed) look();
  });
  stream.addEventListener("error", () => lookByItself(true));
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && (wanted || timer !== null)) look();
  });
  say(true);
}
