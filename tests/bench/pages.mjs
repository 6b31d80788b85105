// SPDX-License-Identifier: MIT
// pages: what a day of thousands of schools costs the reader's browser, and how soon each
// page shows its answer on a machine four times slower. Prints a table; judges nothing.
//
//   node tests/bench/pages.mjs [VISITS]
import { DAY, largeCountry, smallCountry } from "../browser/country.mjs";
import { Stage } from "../browser/stage.mjs";

const VISITS = Number(process.argv[2] ?? 3);
const SITES = 5000;
const PAIRS = 50000;
const PANS = 60;
const ZOOMS = 20;
const SLOWER = 4; // times: a phone that is not new
const SCREENS = [[1280, 1], [360, SLOWER]]; // px, times slower

const stage = await Stage.open();
const share = (sorted, part) => sorted[Math.min(Math.floor(part * sorted.length), sorted.length - 1)];

// Runs in the page before it does: the moment at which something is shown, the long tasks.
function watch() {
  globalThis.bench = { tasks: [0] };
  new PerformanceObserver((list) => bench.tasks.push(...list.getEntries().map(({ duration }) => duration))).observe({ type: "longtask", buffered: true });
  bench.shown = (selectors) => new Promise((done) => {
    const look = () => {
      if (selectors.every((selector) => document.querySelector(selector)?.getClientRects().length > 0)) done(performance.now());
      else setTimeout(look, 5);
    };
    look();
  });
}

// Presses one key a frame; how long each frame took, ms, in order of length.
async function frames(keys) {
  const map = document.getElementById("map");
  map.scrollIntoView({ block: "center" });
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  for (let i = 0; i < 60; i += 1) await frame();
  const took = [];
  let before = await frame();
  for (const key of keys) {
    map.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }));
    const now = await frame();
    took.push(now - before);
    before = now;
  }
  return took.sort((a, b) => a - b);
}

async function slowed(page, slower) {
  const client = await page.context().newCDPSession(page);
  await client.send("Emulation.setCPUThrottlingRate", { rate: slower });
  return client;
}

async function largeDay(day, width, slower) {
  const page = await stage.window({ width, height: 800 });
  await page.addInitScript(watch);
  await slowed(page, slower);
  await page.goto(`/days/${day}`, { waitUntil: "commit" });
  const answer_ms = await page.evaluate(() => bench.shown(["#figure .measured"]));
  // Read from top to bottom without a pause: everything is needed at once.
  const drawn_ms = await page.evaluate(async () => {
    const drawn = bench.shown(["#map canvas", "#slope-chart canvas", "#spread-chart .plot", "#leaders-table td"]);
    const walk = setInterval(() => scrollBy(0, innerHeight / 2), 50);
    const at = await drawn;
    clearInterval(walk);
    return at;
  });
  await page.waitForTimeout(1500);
  const task_ms = await page.evaluate(() => Math.max(...bench.tasks));
  const ways = ["ArrowLeft", "ArrowUp", "ArrowRight", "ArrowDown"];
  const pans = await page.evaluate(frames, Array.from({ length: PANS }, (_, i) => ways[Math.floor(i / 4) % 4]));
  const zooms = await page.evaluate(frames, Array.from({ length: ZOOMS }, (_, i) => (i % 4 < 2 ? "+" : "-")));
  await stage.shut(page);
  return { answer_ms, drawn_ms, task_ms, pans, zooms };
}

async function timeLargeDay() {
  const day = await largeCountry(stage, { sites: SITES, pairs: PAIRS });
  const columns = [];
  for (const [width, slower] of SCREENS) {
    const visits = [];
    for (let i = 0; i < VISITS; i += 1) visits.push(await largeDay(day, width, slower));
    columns.push(visits);
  }
  const row = (name, of) => console.log(name.padEnd(40), ...columns.map((visits) => Math.min(...visits.map(of)).toFixed(0).padStart(16)));
  console.log(`== pages: a day of ${SITES} schools and about ${PAIRS} pairs; ms, least of ${VISITS} visits`);
  console.log("".padEnd(40), ...SCREENS.map(([width, slower]) => `${width} px${slower > 1 ? `, ${slower} x slower` : ""}`.padStart(16)));
  row("answer shown after", (visit) => visit.answer_ms);
  row("all drawn after, read without a pause", (visit) => visit.drawn_ms);
  row("longest task (below 50 is not told)", (visit) => visit.task_ms);
  for (const [name, list] of [[`${PANS} pans of the map, a frame`, "pans"], [`${ZOOMS} zooms of the map, a frame`, "zooms"]])
    for (const [part, what] of [[0.5, "p50"], [0.95, "p95"], [1, "longest"]]) row(`${name}, ${what}`, (visit) => share(visit[list], part));
}

// --- every page on its own

// Where a page's answer stands.
const PAGES = [
  ["/", "#days a"],
  ["/join", "#where button"],
  ["/play", "#enter button"],
  ["/days/{day}", "#figure .measured"],
  ["/days/{day}/sites/acequia", "#countdown"],
  ["/days/{day}/sites/acequia/run", "#figure .measured"],
  ["/days/{day}/pairs/acequia/salar", "#figure .measured"],
  ["/days/{day}/certificates/acequia", "#certificate .big"],
  ["/method", "#measure p"],
  ["/editions", "#editions p"],
  ["/organiser", "#door form"],
];

async function onePage(address, selector) {
  const page = await stage.window();
  await page.addInitScript(watch);
  const client = await slowed(page, SLOWER);
  await client.send("Network.enable");
  let bytes = 0;
  client.on("Network.loadingFinished", ({ encodedDataLength }) => { bytes += encodedDataLength; });
  await page.goto(address, { waitUntil: "commit" });
  const answer_ms = await page.evaluate((one) => bench.shown([one]), selector);
  const before = bytes;
  await page.waitForTimeout(2000);
  await stage.shut(page);
  return { answer_ms, before, all: bytes };
}

async function timePages() {
  await smallCountry(stage);
  console.log(`== pages: each by itself at 360 px, ${SLOWER} x slower; the quickest of ${VISITS} visits`);
  console.log("".padEnd(40), ["answer, ms", "KB until then", "KB in all"].map((head) => head.padStart(14)).join(""));
  for (const [pattern, selector] of PAGES) {
    const visits = [];
    for (let i = 0; i < VISITS; i += 1) visits.push(await onePage(pattern.replace("{day}", DAY), selector));
    const best = visits.sort((one, two) => one.answer_ms - two.answer_ms)[0];
    console.log(pattern.padEnd(40), [best.answer_ms.toFixed(0), ...[best.before, best.all].map((bytes) => (bytes / 1024).toFixed(1))].map((figure) => figure.padStart(14)).join(""));
  }
}

await timePages();
await timeLargeDay();
await stage.close();
