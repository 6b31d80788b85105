// SPDX-License-Identifier: MIT
// What was said about a run: exclusions and acceptances for everyone; what the organiser
// asked, and the school's answer, for whoever has the school's key.
import { ask, get, path } from "../house/api.js";
import { byId, fill, h } from "../house/dom.js";
import { shortDate } from "../house/format.js";
import { schoolKey } from "../house/schools.js";
import { word, wordOf } from "../house/words.js";
import { field, form, text } from "../organiser/form.js";

const said = (reviews) => h("ul", { class: "reasons" }, reviews.map((review) => h("li", {},
  `${shortDate(review.recorded_utc.slice(0, 10))}, ${wordOf("review.", review.verdict)}: ${review.reason}`)));

// The key is the one kept on this device, if the teacher chose that, or typed; this form
// keeps none.
function answerForm(run, again) {
  const shown = h("div");
  let key = "";
  const answer = form(word("review.answer"), [field(word("review.your_answer"), text("reason", { maxlength: 400 }), word("review.no_names"))],
    async (values) => {
      await ask("POST", path`/runs/${run.id}/reviews`, { key, body: { verdict: "answer", reason: values.reason } });
      await look();
      await again();
      return word("review.answered");
    });
  const look = async () => {
    const { reviews } = await get(path`/runs/${run.id}/reviews`, { key });
    fill(shown, reviews.length === 0 ? h("p", {}, word("review.nothing_asked")) : [said(reviews), answer]);
  };
  return h("details", {}, h("summary", {}, word("review.for_school")),
    form(word("review.show"), [field(word("review.key"), text("key", { type: "password", value: schoolKey(run.site) ?? "" }))], async (values) => {
      key = values.key.trim();
      await look();
      return null;
    }), shown);
}

export async function showReviews(run) {
  const look = async () => {
    const { reviews } = await get(path`/runs/${run.id}/reviews`);
    const last = reviews.findLast(({ verdict }) => verdict === "exclude" || verdict === "accept");
    fill(byId("said"), last?.verdict === "exclude" && h("p", { class: "flag" }, word("review.is_excluded", { reason: last.reason })),
      reviews.length > 0 && said(reviews));
  };
  await look();
  fill(byId("answering"), answerForm(run, look));
}
