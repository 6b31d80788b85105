// SPDX-License-Identifier: MIT
// What every page does: its words, its place in the navigation, the language, and
// the one line that says what is going on or what went wrong.

import { byId, fill, h } from "./dom.js";
import { chooseLanguage, language, useWords, word } from "./words.js";
import { Refusal } from "./api.js";

const SLOW_MS = 500; // whatever takes longer shows that it is under way

function putWords(root) {
  for (const node of root.querySelectorAll("[data-word]")) node.textContent = word(node.dataset.word);
  for (const node of root.querySelectorAll("[data-word-label]")) node.setAttribute("aria-label", word(node.dataset.wordLabel));
}

function markPlace() {
  for (const link of document.querySelectorAll("header nav a")) {
    const at = link.getAttribute("href");
    if (location.pathname === at || (at !== "/" && location.pathname.startsWith(`${at}/`))) link.setAttribute("aria-current", "page");
  }
}

export function setTitle(text) {
  document.title = `${text} · noonarc`;
}

export function notice(...content) {
  fill(byId("notice"), ...content);
}

// Runs what may take a while or fail. Says so after half a second; a failure is told
// with what to do next. With again there is a button to try again, and the answer
// comes when it has worked; without, undefined says that it failed. missing(failure): what
// to do when there is no such thing, which no trying again changes.
export async function attempt(work, { again = true, where = byId("notice"), missing = null } = {}) {
  const slow = setTimeout(() => fill(where, word("house.wait")), SLOW_MS);
  const tryAgain = (failure) => new Promise((done) => {
    const retry = () => done(attempt(work, { again, where, missing }));
    fill(where, failure.advice, " ", h("button", { type: "button", class: "small", on: { click: retry } }, word("house.again")));
  });
  try {
    const result = await work();
    fill(where);
    return result;
  } catch (failure) {
    if (!(failure instanceof Refusal)) throw failure;
    fill(where);
    if (failure.status === 404 && missing !== null) missing(failure);
    else if (!again) fill(where, failure.advice);
    else return tryAgain(failure);
    return undefined;
  } finally {
    clearTimeout(slow);
  }
}

// A page that asks for what it shows hides that part until it has it; its title stands
// alone until then.
export function reveal(id) {
  fill(byId("before")).hidden = true;
  byId(id).hidden = false;
}

// What such a page begins with. When there is nothing to show the page says that, and
// where to go on. ways: [address, words], beside the way to the days.
export const attemptPage = (show, ways = []) => attempt(show, {
  missing: ({ code, advice }) => {
    const nowhere = code === "not_found";
    const days = ["/", word("house.to_days")];
    for (const part of byId("main").children) part.hidden = part.id !== "before";
    const title = word(nowhere ? "house.nothing" : document.documentElement.dataset.title);
    setTitle(title);
    fill(byId("before"), h("h1", {}, title), h("p", {}, nowhere ? word("house.nothing_words") : advice),
      h("p", { class: "buttons" }, (nowhere ? [days, ...ways] : [...ways, days]).map(([address, words], i) =>
        h("a", { class: i === 0 ? "button main" : "button", href: address }, words))));
  },
});

// Begins a page: its words, then its work.
export function begin(words, work) {
  useWords(words);
  document.documentElement.lang = language;
  setTitle(word(document.documentElement.dataset.title));
  putWords(document);
  markPlace();
  const chooser = byId("language");
  chooser.value = language;
  chooser.addEventListener("change", () => chooseLanguage(chooser.value));
  work();
}
