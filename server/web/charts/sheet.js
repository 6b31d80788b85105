// SPDX-License-Identifier: MIT
// The bytes of a spreadsheet as columns (csv.js), taken apart by a worker.
import address from "apart:./sheet_worker.js";

import { Refusal } from "../house/api.js";

let worker = null;
let waiting = [];

function start() {
  worker = new Worker(address);
  worker.addEventListener("message", ({ data }) => waiting.shift().done(data));
  // Its program did not come; the next question asks for it again.
  worker.addEventListener("error", ({ message }) => {
    for (const { failed } of waiting) failed(new Refusal(0, "network", "", message));
    waiting = [];
    worker = null;
  });
}

export function sheetOf(bytes, numbers) {
  if (worker === null) start();
  return new Promise((done, failed) => {
    waiting.push({ done, failed });
    worker.postMessage({ bytes, numbers }, [bytes]);
  });
}
