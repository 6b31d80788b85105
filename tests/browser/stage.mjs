// SPDX-License-Identifier: MIT
// stage: the built noonarcd on a fresh store and a free loopback port, the API as a
// program calls it, and a browser that hears everything a page complains about.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";

const root = fileURLToPath(new URL("../../", import.meta.url));
export const build = resolve(root, process.env.BUILD ?? "build");
const modules = createRequire(join(root, "build/npm/package.json"));
export const WIDTHS = [360, 1280];

const CHROMIUM = {
  executablePath: "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"],
};

async function serve(folder, listen) {
  const store = join(folder, "store.sqlite");
  const server = spawn(join(build, "noonarcd"), ["--store", store, "--listen", listen, "serve"],
    { stdio: ["ignore", "pipe", "ignore"] });
  for await (const line of createInterface(server.stdout)) {
    const found = line.match(/^listening on (\S+)$/);
    if (found !== null) return { server, base: found[1] };
  }
  throw new Error("the server did not start");
}

const ended = (server) => new Promise((done) => (server.exitCode === null ? server.once("exit", done) : done()));

export class Stage {
  static async open() {
    const stage = new Stage();
    stage.folder = mkdtempSync(join(tmpdir(), "noonarc-browser-"));
    stage.organiser = execFileSync(join(build, "noonarcd"),
      ["--store", join(stage.folder, "store.sqlite"), "organiser", "Meridian Office"],
      { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] }).split("\n")[0];
    Object.assign(stage, await serve(stage.folder, "127.0.0.1:0"));
    stage.complaints = [];
    return stage;
  }

  async close() {
    await this.browser?.close();
    await this.leave();
    rmSync(this.folder, { recursive: true, force: true });
  }

  // Stops the server, and brings it back at the same address.
  async leave() {
    this.server.kill("SIGTERM");
    await ended(this.server);
  }
  async comeBack() {
    Object.assign(this, await serve(this.folder, this.base.replace("http://", "")));
  }

  // Asks the API; fails unless it answers with a status below 300.
  async api(method, path, { key, body, type = "application/json", headers = {} } = {}) {
    const answer = await fetch(`${this.base}/api/v1${path}`, {
      method,
      headers: {
        ...(key !== undefined && { Authorization: `Bearer ${key}` }),
        ...(body !== undefined && { "Content-Type": type }), ...headers,
      },
      body: body === undefined || typeof body === "string" ? body : JSON.stringify(body),
    });
    const text = await answer.text();
    assert.ok(answer.ok, `${method} ${path}: ${answer.status} ${text}`);
    return answer.headers.get("Content-Type")?.startsWith("application/json") ? JSON.parse(text) : text;
  }

  openDay(day) {
    return this.api("POST", "/days", { key: this.organiser, body: day });
  }

  // {site, school_key, class_code}, joined to the days.
  async school(site, ...days) {
    const school = await this.api("POST", "/sites", { body: site });
    for (const day of days) await this.api("PUT", `/days/${day}/sites/${school.site.site}`, { key: school.school_key });
    return school;
  }

  // A window of its own, with nothing kept. Complaints are gathered until quiet().
  async window({ width = 360, height = 740, ...options } = {}) {
    this.browser ??= await modules("playwright-core").chromium.launch(CHROMIUM);
    const context = await this.browser.newContext({
      baseURL: this.base, viewport: { width, height }, locale: "en-GB", timezoneId: "America/Argentina/Mendoza",
      hasTouch: width < 500, reducedMotion: "reduce", ...options,
    });
    context.setDefaultTimeout(15000);
    const page = await context.newPage();
    page.on("console", (message) => this.complaints.push(message.text()));
    page.on("pageerror", (error) => this.complaints.push(String(error)));
    page.on("request", (request) => {
      if (!request.url().startsWith(this.base)) this.complaints.push(`asked ${request.url()}`);
    });
    return page;
  }

  async shut(page) {
    await page.context().unrouteAll({ behavior: "ignoreErrors" });
    await page.context().close();
  }

  // Fails when a page complained of anything but what is expected.
  quiet(...expected) {
    const heard = this.complaints.splice(0).filter((text) => !expected.some((pattern) => pattern.test(text)));
    assert.deepEqual(heard, []);
  }

  // Holds what is shown to WCAG 2.2 AA and more, to the width of the screen, and to
  // targets for a thumb; keeps a picture in build/screens.
  async look(page, name) {
    await page.evaluate(readFileSync(modules.resolve("axe-core/axe.min.js"), "utf8"));
    const { violations } = await page.evaluate(() => globalThis.axe.run(document, {
      runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
      rules: { "color-contrast-enhanced": { enabled: true } },
    }));
    const told = violations.flatMap(({ id, nodes }) => nodes.map((node) => `${id}: ${node.html.slice(0, 160)} ${node.failureSummary}`));
    const { width } = page.viewportSize();
    mkdirSync(join(build, "screens"), { recursive: true });
    await page.screenshot({ path: join(build, "screens", `${name}-${width}.png`), fullPage: true });
    assert.deepEqual(told, [], name);
    const wide = await page.evaluate(() => document.scrollingElement.scrollWidth);
    assert.ok(wide <= width, `${name}: ${wide} px wide on a screen of ${width}`);
  }
}
