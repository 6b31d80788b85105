// SPDX-License-Identifier: MIT
// Talks to the public API. Whatever goes wrong becomes a Refusal that says what to do
// next, in the reader's language.

import { word, wordOf } from "./words.js";

const API = "/api/v1";
const PAGE = 500; // items in one answer, at most

// code: of the problem document, or "network". field: where, "" none.
export class Refusal extends Error {
  constructor(status, code, field, detail, errors = []) {
    super(detail);
    Object.assign(this, { status, code, field, errors });
  }
  // What to do next.
  get advice() {
    if (this.code === "network") return word("house.failed_network");
    if (this.status === 401) return word("house.failed_key");
    if (this.status === 429 || this.status === 503) return word("house.failed_busy");
    if (this.status >= 500) return word("house.failed_inside");
    if (this.status === 404) return wordOf("problem.", this.code, word("house.failed_missing"));
    return wordOf("problem.", this.code, this.message);
  }
}

async function refusalOf(answer) {
  const problem = await answer.json().catch(() => ({}));
  return new Refusal(answer.status, problem.code ?? "", problem.field ?? "", problem.detail ?? problem.title ?? "", problem.errors);
}

// options: key (of school, class or organiser), body (sent as JSON; a text: as a
// spreadsheet), headers.
async function send(method, path, { key, body, headers = {}, signal } = {}) {
  const asked = { method, signal, headers: { Accept: "application/json", ...headers }, credentials: "same-origin" };
  if (key !== undefined) asked.headers.Authorization = `Bearer ${key}`;
  if (body !== undefined) {
    const sheet = typeof body === "string";
    asked.headers["Content-Type"] = sheet ? "text/csv" : "application/json";
    asked.body = sheet ? body : JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(API + path, asked);
  } catch (failure) {
    if (failure.name === "AbortError") throw failure;
    throw new Refusal(0, "network", "", failure.message);
  }
  if (!answer.ok) throw await refusalOf(answer);
  return answer;
}

export async function ask(method, path, options = {}) {
  const answer = await send(method, path, options);
  return answer.status === 204 ? null : answer.json();
}

export const get = (path, options) => ask("GET", path, options);

// What read(answer) makes of an answer, and the very same again as long as the service
// says, by its ETag, that nothing has changed.
const kept = new Map();
export async function getKept(path, read = (answer) => answer.json(), headers = {}) {
  const answer = await send("GET", path, { headers });
  const tag = answer.headers.get("ETag");
  const before = kept.get(path);
  if (before !== undefined && before.tag === tag) {
    answer.body.cancel();
    return before.value;
  }
  const value = await read(answer);
  if (tag !== null) kept.set(path, { tag, value });
  return value;
}

// The very bytes, for whoever wants to check them.
export const getBytes = async (path, options = {}) => (await send("GET", path, options)).arrayBuffer();

// All pages of a list, put together; query: what else to ask by.
export async function getAll(path, list, { query: more = {}, ...options } = {}) {
  const items = [];
  let cursor = null;
  do {
    const query = new URLSearchParams({ ...more, limit: String(PAGE), ...(cursor !== null && { cursor }) });
    const page = await get(`${path}?${query}`, options);
    items.push(...page[list]);
    cursor = page.next_cursor;
  } while (cursor !== null);
  return items;
}

// /days/{day}/sites/{site}: path`/days/${day}/sites/${site}`.
export const path = (texts, ...values) =>
  texts.reduce((whole, text, i) => whole + encodeURIComponent(values[i - 1]) + text);

// The values in this page's own address: here("/days/{day}").day
export function here(pattern) {
  const names = [...pattern.matchAll(/\{(\w+)\}/g)].map(([, name]) => name);
  const found = location.pathname.match(new RegExp(`^${pattern.replace(/\{\w+\}/g, "([^/]+)")}$`));
  return Object.fromEntries(names.map((name, i) => [name, decodeURIComponent(found[i + 1])]));
}
