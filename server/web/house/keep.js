// SPDX-License-Identifier: MIT
// What the playground keeps on the device: the class that was opened, and every run
// begun, whole, after each change. Nothing is deleted when it has been handed in.

import { openDB } from "idb";
import { asKeptNow } from "./kept_before.js";

const store = openDB("noonarc", 1, {
  upgrade(db) {
    db.createObjectStore("class"); // "current": code, site, day, suns, plan
    db.createObjectStore("runs"); // by day/site
  },
});

export const currentClass = async () => (await store).get("class", "current");
// On the disk before it counts as kept: a battery may go flat at any moment.
async function put(where, value, key) {
  const change = (await store).transaction(where, "readwrite", { durability: "strict" });
  await Promise.all([change.store.put(value, key), change.done]);
}

export const keepClass = (value) => put("class", value, "current");
export const forgetClass = async () => (await store).delete("class", "current");

const name = ({ day, site }) => `${day.day}/${site.site}`;
export const keptRun = async (opened) => asKeptNow(await (await store).get("runs", name(opened)));
export const keepRun = (opened, run) => put("runs", run, name(opened));
