// SPDX-License-Identifier: MIT
// The country on its day: land, sites and pairs, coloured and shaped by what became of
// them. Land and grid are an SVG drawing; the sites and pairs lie on a canvas above it,
// so that 5 000 sites with 50 000 pairs stay smooth. Moved by buttons, arrow keys and
// the mouse; a finger scrolls the page as everywhere.
import * as Plot from "@observablehq/plot";
import { geoAzimuthalEqualArea, geoDistance, geoEqualEarth } from "d3-geo";
import { feature } from "topojson-client";

import { canvasOver, ink, settle, trace } from "./base.js";
import { crowdOfLines } from "./crowd.js";

const WIDE_DEG = 70; // beyond this the coarse coastline serves, and a map of the world
const PICK_PX = 22;
const SHADOWS = 400; // schools up to which each throws its noon shadow on the map
const SHADOW_PX = 24; // of a gnomon's own height
const LONGEST = 2.4; // gnomon heights
const CROWD = 2500; // pairs beyond which they are counted a pixel instead of stroked

const coast = new Map();
function landOf(fine) {
  if (!coast.has(fine)) {
    const topology = fine ? import("world-atlas/land-50m.json") : import("world-atlas/land-110m.json");
    coast.set(fine, topology.then(({ default: world }) => feature(world, world.objects.land)));
  }
  return coast.get(fine);
}

// Centre and half extent of the sites; longitudes about their widest empty gap, so
// that a country on both sides of the date line is one.
function extentOf(sites) {
  if (sites.length === 0) return { lon: 0, lat: 0, span: 170 };
  const lons = sites.map((site) => site.lon_deg).sort((a, b) => a - b);
  let gap = lons[0] + 360 - lons.at(-1);
  let first = lons[0];
  for (let i = 1; i < lons.length; i++)
    if (lons[i] - lons[i - 1] > gap) {
      gap = lons[i] - lons[i - 1];
      first = lons[i];
    }
  let low = 90;
  let high = -90;
  for (const { lat_deg } of sites) {
    low = Math.min(low, lat_deg);
    high = Math.max(high, lat_deg);
  }
  const lat = (low + high) / 2;
  const width = (360 - gap) * Math.cos((lat * Math.PI) / 180);
  return { lon: first + (360 - gap) / 2, lat, span: Math.max(high - low, width, 2) };
}

function projectionFor(view, extent, width, height) {
  const regional = extent.span < WIDE_DEG * 1.5;
  const projection = regional
    ? geoAzimuthalEqualArea().rotate([-view.lon, -view.lat]).clipAngle(89)
    : geoEqualEarth().rotate([-view.lon, 0]);
  // Pixels a radian, so that the extent with a margin fits the shorter way.
  const span = (Math.min(extent.span * 1.12, 170) * Math.PI) / 180;
  const scale = regional
    ? (view.zoom * Math.min(width, height)) / (2 * Math.sin(span / 4) * 2)
    : (view.zoom * width) / 5.5;
  return projection.scale(scale).translate([width / 2, height / 2]);
}

export class CountryMap {
  // host: an element; options: label (for those who do not see it), pick(site or null),
  // look: { sites: Map(state -> {shape, colour}), pairs: Map(state -> {colour, dash}) }.
  constructor(host, options) {
    this.host = host;
    this.options = options;
    this.sites = [];
    this.pairs = [];
    this.hidden = new Set();
    this.picked = null;
    this.extent = extentOf([]);
    this.view = { lon: 0, lat: 0, zoom: 1 };
    this.land = null;
    this.layer = document.createElement("div");
    this.layer.className = "map-layer";
    host.classList.add("map");
    host.tabIndex = 0;
    host.setAttribute("role", "application");
    host.setAttribute("aria-label", options.label);
    host.append(this.layer);
    this.listen();
    new ResizeObserver(() => this.draw()).observe(host);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  // sites: {site, name, lat_deg, lon_deg, state, shadow (in gnomon heights, to the north
  // positive; NaN none)}; pairs: {a, b, state} with indices
  // into sites. The view stays where it is once people have looked.
  show(sites, pairs) {
    const first = this.sites.length === 0;
    this.sites = sites;
    this.pairs = pairs;
    if (first) this.whole();
    else this.draw();
  }

  whole() {
    this.extent = extentOf(this.sites);
    this.view = { lon: this.extent.lon, lat: this.extent.lat, zoom: 1 };
    this.draw();
  }

  zoom(factor) {
    this.view.zoom = Math.min(Math.max(this.view.zoom * factor, 0.5), 60);
    this.draw();
  }

  // By shares of the picture's size, east and north positive.
  move(east, north) {
    const { width, height } = this.size();
    const centre = this.projection.invert([width / 2 + east * width, height / 2 - north * height]);
    if (centre === null || !centre.every(Number.isFinite)) return;
    this.view.lon = centre[0];
    this.view.lat = Math.min(Math.max(centre[1], -85), 85);
    this.draw();
  }

  toggle(state, shown) {
    if (shown) this.hidden.delete(state);
    else this.hidden.add(state);
    this.draw();
  }

  // Marks a site and brings it into the picture.
  find(name) {
    const at = this.sites.findIndex((site) => site.site === name);
    this.picked = at < 0 ? null : this.sites[at];
    if (this.picked !== null) {
      const { width, height } = this.size();
      const [x, y] = this.projection([this.picked.lon_deg, this.picked.lat_deg]) ?? [-1, -1];
      if (x < 20 || y < 20 || x > width - 20 || y > height - 20) {
        this.view.lon = this.picked.lon_deg;
        this.view.lat = this.picked.lat_deg;
      }
    }
    this.draw();
    this.options.pick(this.picked);
  }

  size() {
    const width = Math.max(Math.floor(this.host.clientWidth), 200);
    return { width, height: Math.round(Math.min(Math.max(width * 0.95, 340), 640)) };
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      if (this.host.clientWidth > 0) this.paint();
    });
  }

  async coastline() {
    const fine = this.extent.span / this.view.zoom < WIDE_DEG;
    if (this.land?.fine === fine) return this.land.shape;
    landOf(fine).then((shape) => {
      if (this.land?.fine === fine) return;
      this.land = { fine, shape };
      this.draw();
    });
    return this.land?.shape ?? null;
  }

  async paint() {
    const { width, height } = this.size();
    const projection = projectionFor(this.view, this.extent, width, height);
    this.projection = projection;
    const land = await this.coastline();
    if (projection !== this.projection) return;
    const drawing = Plot.plot({
      width,
      height,
      margin: 0,
      projection: () => projection,
      marks: [
        Plot.graticule({ stroke: "currentColor", strokeOpacity: 0.14 }),
        land === null ? null : Plot.geo(land, { fill: "var(--land)", stroke: "currentColor", strokeWidth: 0.6, strokeOpacity: 0.55 }),
      ],
    });
    settle(drawing);
    drawing.setAttribute("aria-hidden", "true");
    drawing.removeAttribute("role");
    const canvas = canvasOver(width, height, (context) => this.paintDay(context, width, height));
    this.layer.style.height = `${height}px`;
    this.layer.style.transform = "";
    this.layer.replaceChildren(drawing, canvas);
  }

  placeSites(width, height) {
    const { view } = this;
    const reach = this.extent.span < WIDE_DEG * 1.5 ? 1.5 : Infinity;
    const centre = [view.lon, view.lat];
    this.places = this.sites.map(({ lon_deg, lat_deg }) => {
      if (geoDistance([lon_deg, lat_deg], centre) > reach) return null;
      const [x, y] = this.projection([lon_deg, lat_deg]);
      return { x, y, seen: x > -20 && y > -20 && x < width + 20 && y < height + 20 };
    });
  }

  paintDay(context, width, height) {
    this.placeSites(width, height);
    this.paintPairs(context, width, height);
    if (this.sites.length <= SHADOWS) this.paintShadows(context);
    const size = Math.min(Math.max(9 - Math.log10(this.sites.length + 1) * 1.6, 2.6) * Math.sqrt(Math.min(this.view.zoom, 4)), 8);
    for (const [state, { shape, colour }] of this.options.look.sites) {
      if (this.hidden.has(state)) continue;
      context.beginPath();
      this.sites.forEach((site, i) => {
        const place = this.places[i];
        if (site.state === state && place?.seen) trace(context, shape, place.x, place.y, size);
      });
      context.strokeStyle = shape === "cross" && colour !== "" ? colour : ink("ink");
      context.lineWidth = shape === "cross" ? 2 : shape === "ring" ? 1.4 : 0.8;
      context.fillStyle = colour;
      if (shape !== "cross" && shape !== "ring") context.fill();
      context.stroke();
    }
    const at = this.picked === null ? -1 : this.sites.findIndex((site) => site.site === this.picked.site);
    const place = this.places[at];
    if (place === undefined || place === null) return;
    context.strokeStyle = ink("ochre");
    context.lineWidth = 3;
    context.beginPath();
    context.arc(place.x, place.y, size + 7, 0, 2 * Math.PI);
    context.stroke();
  }

  // Each school's shadow at its noon, along the meridian and away from the Sun, as long
  // as it was beside a short gnomon: the map of shadows that the whole day is about.
  paintShadows(context) {
    context.strokeStyle = ink("shadow");
    context.lineWidth = 4;
    context.beginPath();
    this.sites.forEach((site, i) => {
      const place = this.places[i];
      if (!place?.seen || !Number.isFinite(site.shadow) || this.hidden.has(site.state)) return;
      const [x, y] = this.projection([site.lon_deg, site.lat_deg + Math.sign(site.shadow) * 0.2]);
      const far = Math.hypot(x - place.x, y - place.y);
      const length = Math.min(Math.abs(site.shadow), LONGEST) * SHADOW_PX;
      context.moveTo(place.x, place.y);
      context.lineTo(place.x + ((x - place.x) / far) * length, place.y + ((y - place.y) / far) * length);
    });
    context.stroke();
  }

  // Of one state, as far as they are in the picture.
  linesOf(state) {
    const lines = [];
    for (const pair of this.pairs) {
      if (pair.state !== state) continue;
      const from = this.places[pair.a];
      const to = this.places[pair.b];
      if (from && to && (from.seen || to.seen)) lines.push(from.x, from.y, to.x, to.y);
    }
    return lines;
  }

  paintPairs(context, width, height) {
    for (const [state, { colour, dash }] of this.options.look.pairs) {
      if (this.hidden.has(state)) continue;
      const lines = this.linesOf(state);
      if (this.pairs.length > CROWD) {
        context.drawImage(crowdOfLines(lines, width, height, colour), 0, 0, width, height);
        continue;
      }
      context.strokeStyle = colour;
      context.lineWidth = 1.4;
      context.globalAlpha = 0.85;
      context.setLineDash(dash);
      context.beginPath();
      for (let i = 0; i < lines.length; i += 4) {
        context.moveTo(lines[i], lines[i + 1]);
        context.lineTo(lines[i + 2], lines[i + 3]);
      }
      context.stroke();
    }
    context.globalAlpha = 1;
    context.setLineDash([]);
  }

  nearest(x, y) {
    let best = null;
    let least = PICK_PX * PICK_PX;
    this.sites.forEach((site, i) => {
      const place = this.places?.[i];
      if (!place?.seen || this.hidden.has(site.state)) return;
      const square = (place.x - x) ** 2 + (place.y - y) ** 2;
      if (square < least) {
        least = square;
        best = site;
      }
    });
    return best;
  }

  listen() {
    const steps = { ArrowLeft: [-0.2, 0], ArrowRight: [0.2, 0], ArrowUp: [0, 0.2], ArrowDown: [0, -0.2] };
    this.host.addEventListener("keydown", (event) => {
      if (event.target !== this.host || event.ctrlKey || event.altKey || event.metaKey) return;
      if (event.key in steps) this.move(...steps[event.key]);
      else if (event.key === "+" || event.key === "=") this.zoom(1.6);
      else if (event.key === "-") this.zoom(1 / 1.6);
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
      const dx = event.clientX - from.x;
      const dy = event.clientY - from.y;
      from.moved ||= Math.hypot(dx, dy) > 4;
      if (from.moved) this.layer.style.transform = `translate(${dx}px, ${dy}px)`;
    });
    this.layer.addEventListener("pointerup", (event) => {
      if (from === null) return;
      const { width, height } = this.size();
      const { moved, x, y } = from;
      from = null;
      if (moved) {
        this.move((x - event.clientX) / width, (event.clientY - y) / height);
        return;
      }
      const box = this.layer.getBoundingClientRect();
      this.picked = this.nearest(event.clientX - box.left, event.clientY - box.top);
      this.draw();
      this.options.pick(this.picked);
    });
    this.layer.addEventListener("pointercancel", () => {
      from = null;
      this.layer.style.transform = "";
    });
  }
}
