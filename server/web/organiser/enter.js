// SPDX-License-Identifier: MIT
// The organiser's door: whoever is logged in goes through, everyone else is asked. The
// session is a cookie that no script can read.
import { Refusal, ask, get } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { attempt, attemptPage, reveal } from "../house/page.js";
import { word } from "../house/words.js";
import { field, form, text } from "./form.js";

async function whoAmI() {
  try {
    return await get("/session");
  } catch (failure) {
    if (failure instanceof Refusal && failure.status === 401) return null;
    throw failure;
  }
}

function showLogin(again) {
  const login = async (values) => {
    const by = values.key ? { key: values.key.trim() } : { name: values.name.trim(), password: values.password };
    try {
      const { role } = await ask("POST", "/session", { body: { ...by, cookie: true } });
      if (role === "organiser") {
        again();
        return null;
      }
      await ask("DELETE", "/session");
      return word("organiser.not_organiser");
    } catch (failure) {
      if (failure instanceof Refusal && failure.status === 401) return word("organiser.login_wrong");
      throw failure;
    }
  };
  fill(byId("door"),
    h("h1", {}, word("organiser.login")),
    h("p", {}, word("organiser.login_words")),
    form(word("organiser.enter"), [
      field(word("organiser.name"), text("name", { autocomplete: "username" })),
      field(word("organiser.password"), text("password", { type: "password", autocomplete: "current-password" })),
      h("details", {}, h("summary", {}, word("organiser.have_key")),
        field(word("organiser.key"), text("key", { type: "password" }))),
    ], login, { main: true }));
  reveal("door");
  byId("inside").hidden = true;
}

function showWho({ name }) {
  fill(byId("who"), word("organiser.you_are", { name: name ?? "" }), " ",
    h("button", {
      type: "button", class: "small",
      on: { click: () => attempt(async () => { await ask("DELETE", "/session"); location.assign("/organiser"); }) },
    }, word("organiser.leave")));
}

// Begins a page of the desk. work(): shows it to an organiser, and reveals "inside" as
// soon as there is something to see. ways: as in attemptPage.
export function enter(work, ways) {
  const start = () => attemptPage(async () => {
    const session = await whoAmI();
    if (session?.role !== "organiser") {
      showLogin(start);
      return true;
    }
    byId("door").hidden = true;
    fill(byId("door"));
    showWho(session);
    await work();
    return true;
  }, ways);
  return start();
}
