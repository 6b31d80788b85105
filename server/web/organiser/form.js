// SPDX-License-Identifier: MIT
// Forms that change something: labelled fields, one answer below the button, the field
// named that the service did not like.
import { Refusal } from "../house/api.js";
import { fill, h } from "../house/dom.js";
import { word, wordOf } from "../house/words.js";

const SLOW_MS = 500;
let made = 0;

// A field with its label; input is an input, select or textarea.
export function field(label, input, hint) {
  made += 1;
  input.id ||= `field-${made}`;
  if (hint !== undefined) input.setAttribute("aria-describedby", `${input.id}-hint`);
  return h("div", { class: "field" }, h("label", { for: input.id }, label), input,
    hint !== undefined && h("span", { class: "hint", id: `${input.id}-hint` }, hint));
}

export const text = (name, props = {}) => h("input", { name, type: "text", autocomplete: "off", ...props });
export const choice = (name, options, chosen) => h("select", { name }, options.map(([value, label]) =>
  h("option", { value, selected: value === chosen }, label)));
export const tick = (name, label, checked = false) => h("label", { class: "choice" }, h("input", { type: "checkbox", name, checked }), label);

function markField(form, name) {
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  const input = name === "" ? null : form.elements.namedItem(name.replace(/^\//, ""));
  if (input instanceof HTMLElement) {
    input.setAttribute("aria-invalid", "true");
    input.focus();
  }
}

// Runs work(values of the form), says that it is under way, that it is done (what work
// returns) or what to do next. words: of the button.
export function form(words, fields, work, { main = false } = {}) {
  const answer = h("p", { class: "notice", role: "status" });
  const button = h("button", { type: "submit", class: main ? "main" : null }, words);
  return h("form", {
    novalidate: true,
    on: {
      submit: async (event) => {
        event.preventDefault();
        const node = event.currentTarget;
        button.disabled = true;
        const slow = setTimeout(() => fill(answer, word("house.wait")), SLOW_MS);
        try {
          markField(node, "");
          fill(answer, await work(Object.fromEntries(new FormData(node)), node));
        } catch (failure) {
          if (!(failure instanceof Refusal)) throw failure;
          fill(answer, failure.advice);
          markField(node, failure.field);
        } finally {
          clearTimeout(slow);
          button.disabled = false;
        }
      },
    },
  }, fields, h("p", {}, button), answer);
}

// What was done, and yet looks odd.
export const warnings = (list) => (list ?? []).map(({ code, detail }) => h("span", { class: "flag" }, wordOf("warning.", code, detail)));
