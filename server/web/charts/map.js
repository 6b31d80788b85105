// SPDX-License-Identifier: MIT
// The country on its day: land, sites and pairs, coloured and shaped by what became of
// them. A worker paints it as one picture, larger than what is seen; the page moves and
// scales that picture at once, and a new one follows when it has come to rest or the
// picture's rim comes near. Moved by buttons, arrow keys and the mouse; a finger scrolls
// the page as everywhere.
import address from "apart:./map_worker.js";
import coarse from "apart:world-atlas/land-110m.json";
import fine from "apart:world-atlas/land-50m.json";

import { h } from "../house/dom.js";
import { ink } from "./base.js";
import { extentOf, markSize, moved, seesCoastsFine, toScreen, wholeView, zoomed } from "./map_view.js";

const PICK_PX = 22;
const RIM = 0.25; // of the picture's size, painted beyond each side
const REST_MS = 120;
const FINENESS = 2; // dots a px at most
const STEPS = { ArrowLeft: [-0.2, 0], ArrowRight: [0.2, 0], ArrowUp: [0, 0.2], ArrowDown: [0, -0.2] };
const ZOOM = 1.6;
const DARK = "(prefers-color-scheme: dark)";
const ON_PAPER = { ink: "#000000", shadow: "#35597A", land: "#E9E3D3", ochre: "#B8700B" };

export class CountryMap {
  // host: an element; options: label (for those who do not see it), pick(site or null),
  // looks {sites, pairs}: [state, {shape, colour}] and [state, {colour, dash}], in the
  // order in which they are painted.
  constructor(host, options) {
    this.host = host;
    this.options = options;
    this.sites = [];
    this.places = new Float32Array(0);
    this.hidden = new Set();
    this.picked = null;
    this.shown = null; // what the picture in the page shows
    this.screen = h("canvas", { class: "on-screen", "aria-hidden": "true" });
    this.paper = h("canvas", { class: "on-paper", "aria-hidden": "true" });
    this.ring = h("div", { class: "map-ring", hidden: true });
    this.layer = h("div", { class: "map-layer" }, this.screen, this.paper, this.ring);
    host.classList.add("map");
    host.tabIndex = 0;
    host.setAttribute("role", "application");
    host.setAttribute("aria-label", options.label);
    host.append(this.layer);
    this.startPainter();
    this.listen();
    new ResizeObserver(() => this.resize()).observe(host);
    matchMedia(DARK).addEventListener("change", () => this.paint());
  }

  startPainter() {
    const looks = { sites: this.options.looks.sites.map(([, look]) => look), pairs: this.options.looks.pairs.map(([, look]) => look) };
    this.painter = new Worker(address);
    this.painter.addEventListener("message", ({ data }) => {
      if (data.places !== undefined) this.place(data.places);
      else if (data.coast) this.paint();
      else this.take(data);
    });
    this.painter.postMessage({ task: "begin", looks, coasts: { coarse, fine } });
  }

  // sites: {site, lat_deg, lon_deg, state, shadow (in gnomon heights, to the north
  // positive; NaN none)}. The view stays where it is once people have looked.
  show(sites) {
    const first = this.sites.length === 0;
    this.sites = sites;
    if (first) this.whole();
    else this.project();
  }

  // pairs: {a, b: indices into sites, state: indices into looks.pairs}, an array each.
  showPairs({ a, b, state }) {
    this.painter.postMessage({ task: "pairs", a, b, state });
    this.paint();
  }

  project() {
    const order = this.options.looks.sites.map(([state]) => state);
    this.painter.postMessage({
      task: "sites", extent: this.extent,
      lon_deg: Float64Array.from(this.sites, (site) => site.lon_deg), lat_deg: Float64Array.from(this.sites, (site) => site.lat_deg),
      shadow: Float64Array.from(this.sites, (site) => site.shadow), state: Uint8Array.from(this.sites, (site) => order.indexOf(site.state)),
    });
    this.paint();
  }

  place(places) {
    this.places = places;
    this.settle();
  }

  resize() {
    const { width, height } = this.size();
    this.layer.style.height = `${height}px`;
    if (this.view === undefined) return;
    this.view = { ...this.view, scale: wholeView(this.extent, width, height).scale * this.view.zoom };
    this.settle();
    this.paint();
  }

  size() {
    const width = Math.max(Math.floor(this.host.clientWidth), 200);
    return { width, height: Math.round(Math.min(Math.max(width * 0.95, 340), 640)) };
  }

  // --- looking about

  look(view) {
    this.view = view;
    this.settle();
    clearTimeout(this.resting);
    if (this.reaches()) this.resting = setTimeout(() => this.paint(), REST_MS);
    else this.paint();
  }

  whole() {
    const { width, height } = this.size();
    this.extent = extentOf(this.sites);
    this.view = wholeView(this.extent, width, height);
    this.project();
    this.settle();
  }

  zoom(factor, right, down) {
    this.look(zoomed(this.view, this.extent, factor, right, down));
  }

  // By shares of the picture's size, east and north positive.
  move(east, north) {
    const { width, height } = this.size();
    this.look(moved(this.view, this.extent, east * width, -north * height));
  }

  toggle(state, shown) {
    if (shown) this.hidden.delete(state);
    else this.hidden.add(state);
    this.paint();
  }

  indexOf(name) {
    return this.sites.findIndex((site) => site.site === name);
  }

  // Marks a site and brings it into the middle, so that coming closer comes closer to it.
  find(name) {
    const at = this.indexOf(name);
    this.pick(at);
    const spot = this.spot(at);
    if (spot === null) return;
    const { width, height } = this.size();
    this.look(moved(this.view, this.extent, spot.x - width / 2, spot.y - height / 2));
  }

  // A ring at once, its pairs with the next picture.
  pick(at) {
    this.picked = at < 0 ? null : this.sites[at].site;
    this.settle();
    this.paint();
    this.options.pick(at < 0 ? null : this.sites[at]);
  }

  // Where a site is on the screen; null when it is nowhere on the map.
  spot(at) {
    const { width, height } = this.size();
    const [x, y] = [this.places[2 * at], this.places[2 * at + 1]];
    return at < 0 || !(x + y < Infinity) ? null : toScreen(this.view, x, y, width, height);
  }

  nearest(x, y) {
    let best = -1;
    let least = PICK_PX * PICK_PX;
    for (let at = 0; at < this.sites.length; at++) {
      const spot = this.hidden.has(this.sites[at].state) ? null : this.spot(at);
      const square = spot === null ? Infinity : (spot.x - x) ** 2 + (spot.y - y) ** 2;
      if (square < least) {
        least = square;
        best = at;
      }
    }
    return best;
  }

  // --- the picture

  // Asks for a picture of what is looked at; one at a time, the last wish counts.
  paint() {
    clearTimeout(this.resting);
    this.wanted = true;
    if (this.painting || this.view === undefined || this.host.clientWidth === 0) return;
    this.wanted = false;
    this.order({ ink: ink("ink"), shadow: ink("shadow"), land: ink("land"), ochre: ink("ochre") }, false);
  }

  order(inks, forPaper) {
    this.painting = true;
    const { width, height } = this.size();
    const { sites, pairs } = this.options.looks;
    const hides = ([state]) => this.hidden.has(state);
    this.painter.postMessage({
      task: "paint", forPaper, view: this.view, width: width * (1 + 2 * RIM), height: height * (1 + 2 * RIM),
      fineness: Math.min(window.devicePixelRatio || 1, FINENESS), fine: seesCoastsFine(this.view, this.extent),
      mark: markSize(this.view, this.sites.length, width, height), inks, picked: this.indexOf(this.picked),
      hidden: { sites: sites.map(hides), pairs: pairs.map(hides) },
    });
  }

  take({ bitmap, forPaper, view, width, height }) {
    this.painting = false;
    const canvas = forPaper ? this.paper : this.screen;
    Object.assign(canvas, { width: bitmap.width, height: bitmap.height });
    Object.assign(canvas.style, { width: `${width}px`, height: `${height}px` });
    canvas.getContext("bitmaprenderer").transferFromImageBitmap(bitmap);
    const shown = { view, width, height };
    if (forPaper) this.lay(canvas, shown);
    else this.shown = shown;
    this.settle();
    // Paper is white also where the screen is dark.
    const dark = matchMedia(DARK).matches;
    this.paper.hidden = !dark;
    if (this.wanted) this.paint();
    else if (dark && !forPaper) this.order(ON_PAPER, true);
  }

  // How much the view has grown since a picture was painted, and where its middle is now.
  since({ view }) {
    const { width, height } = this.size();
    return { grown: this.view.scale / view.scale, ...toScreen(this.view, view.x, view.y, width, height) };
  }

  lay(canvas, shown) {
    const { grown, x, y } = this.since(shown);
    canvas.style.transform = `translate(${x - (grown * shown.width) / 2}px, ${y - (grown * shown.height) / 2}px) scale(${grown})`;
  }

  // Puts picture and ring where the view has them, once a frame.
  settle() {
    this.settling ??= requestAnimationFrame(() => {
      this.settling = undefined;
      if (this.shown !== null) this.lay(this.screen, this.shown);
      const spot = this.spot(this.indexOf(this.picked));
      this.ring.hidden = spot === null;
      if (spot !== null) this.ring.style.transform = `translate(${spot.x}px, ${spot.y}px)`;
    });
  }

  // Whether the picture covers what is looked at.
  reaches() {
    if (this.shown === null) return false;
    const { width, height } = this.size();
    const { grown, x, y } = this.since(this.shown);
    return Math.abs(x - width / 2) <= (grown * this.shown.width - width) / 2 && Math.abs(y - height / 2) <= (grown * this.shown.height - height) / 2;
  }

  listen() {
    this.host.addEventListener("keydown", (event) => {
      if (event.target !== this.host || event.ctrlKey || event.altKey || event.metaKey) return;
      if (event.key in STEPS) this.move(...STEPS[event.key]);
      else if (event.key === "+" || event.key === "=") this.zoom(ZOOM);
      else if (event.key === "-") this.zoom(1 / ZOOM);
      else if (event.key === "0") this.whole();
      else return;
      event.preventDefault();
    });
    let from = null;
    this.layer.addEventListener("pointerdown", (event) => {
      from = { x: event.clientX, y: event.clientY, moved: false };
      if (event.pointerType === "mouse") this.layer.setPointerCapture(event.pointerId);
    });
    this.layer.addEventListener("pointermove", (event) => {
      if (from === null || event.pointerType !== "mouse") return;
      const [dx, dy] = [event.clientX - from.x, event.clientY - from.y];
      if (!from.moved && Math.hypot(dx, dy) <= 4) return;
      from = { x: event.clientX, y: event.clientY, moved: true };
      this.look(moved(this.view, this.extent, -dx, -dy));
    });
    this.layer.addEventListener("pointerup", (event) => {
      const dragged = from?.moved;
      from = null;
      if (dragged !== false) return;
      const box = this.layer.getBoundingClientRect();
      this.pick(this.nearest(event.clientX - box.left, event.clientY - box.top));
    });
    this.layer.addEventListener("pointercancel", () => {
      from = null;
    });
  }
}
