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
// comes when it has worked; without, undefined says that it failed.
export async function attempt(work, { again = true, where = byId("notice") } = {}) {
  const slow = setTimeout(() => fill(where, word("house.wait")), SLOW_MS);
  try {
    const result = await work();
    fill(where);
    return result;
  } catch (failure) {
    if (!(failure instanceof Refusal)) throw failure;
    if (!again) {
      fill(where, failure.advice);
      return undefined;
    }
    return new Promise((done) => {
      const retry = () => done(attempt(work, { again, where }));
      fill(where, failure.advice, " ", h("button", { type: "button", class: "small", on: { click: retry } }, word("house.again")),
        failure.status === 404 && [" ", h("a", { href: "/" }, word("house.nav_home"))]);
    });
  } finally {
    clearTimeout(slow);
  }
}

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
  performance.mark("ready"); // it answers from here on
}
