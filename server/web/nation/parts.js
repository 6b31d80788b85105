// SPDX-License-Identifier: MIT
// The parts of a long page: each is drawn when it comes near to what is seen, and again
// when a look brings other figures, so that nobody waits, or pays, for what is far below.
import { byId, fill, h } from "../house/dom.js";
import { attempt } from "../house/page.js";
import { pause } from "../house/pause.js";

const NEAR = "200px 0px";

export class Part {
  // id: of its section; steps: {needs(look): promises, draw(...figures)}, one after the
  // other.
  constructor(id, ...steps) {
    this.section = byId(id);
    this.steps = steps.map((step) => ({ ...step, drawn: [] }));
    this.wait = h("p", { class: "quiet no-print", role: "status" });
    this.section.append(this.wait);
    this.near = false;
    this.section.classList.add("undrawn");
  }

  // Begins to watch; look(): the last one taken. Near at once where there is little to
  // draw.
  follow(look, atOnce) {
    const come = async () => {
      if (this.near) return;
      this.near = true;
      await attempt(() => this.show(look()), { where: this.wait });
    };
    if (atOnce) return come();
    const watch = new IntersectionObserver((entries) => {
      if (!entries.some(({ isIntersecting }) => isIntersecting)) return;
      watch.disconnect();
      come();
    }, { rootMargin: NEAR });
    watch.observe(this.section);
    return undefined;
  }

  // Draws what has changed, if it is near.
  async show(look) {
    for (const step of this.steps) {
      const figures = await Promise.all(step.needs(look));
      if (figures.every((figure, i) => figure === step.drawn[i])) continue;
      step.drawn = figures;
      await pause();
      await step.draw(...figures);
    }
    this.section.classList.remove("undrawn");
    fill(this.wait);
  }
}
