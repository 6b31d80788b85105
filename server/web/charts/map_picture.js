// SPDX-License-Identifier: MIT
// The map as one picture: grid and land, the lines of the pairs, the marks of the sites.
// All of it is projected once, to a plane; to look elsewhere is then to move and to scale.
// Knows no page: it is drawn by a worker (map_worker.js).
import { geoAzimuthalEqualArea, geoDistance, geoEqualEarth, geoGraticule10, geoPath } from "d3-geo";
import { feature } from "topojson-client";

import { layLines } from "./crowd.js";
import { PLANE, isRegional } from "./map_view.js";
import { trace } from "./shapes.js";

const FINE = 0.1; // how far a projected line may be off, on the plane
const REACH_RAD = 1.5; // of a region about its middle
const SHADOWS = 400; // schools up to which each throws its noon shadow on the map
const SHADOW_PX = 24; // of a gnomon's own height
const LONGEST = 2.4; // gnomon heights
const CROWD = 2500; // pairs beyond which they are counted a pixel instead of stroked
const RIM_PX = 20; // beyond the rim a mark may still reach into the picture

function projectionOf(extent) {
  const projection = isRegional(extent)
    ? geoAzimuthalEqualArea().rotate([-extent.lon, -extent.lat]).clipAngle(89)
    : geoEqualEarth().rotate([-extent.lon, 0]);
  return projection.scale(PLANE).translate([0, 0]).precision(FINE);
}

export class MapPicture {
  // looks: {sites: [{shape, colour}], pairs: [{colour, dash}]}, drawn in this order.
  constructor(looks) {
    this.looks = looks;
    this.coasts = new Map(); // by fineness: the land's TopoJSON, on the plane once asked for
    this.pairs = { a: [], b: [], state: [] };
    this.canvas = new OffscreenCanvas(1, 1);
  }

  // day: {extent, lon_deg, lat_deg, shadow (in gnomon heights, to the north positive; NaN
  // none), state (which look)}, an array each. Returns the places on the plane, x and y
  // in turn; NaN beyond the map.
  setSites(day) {
    this.extent = day.extent;
    this.projection = projectionOf(day.extent);
    this.state = day.state;
    this.grid = this.drawn(geoGraticule10());
    for (const coast of this.coasts.values()) coast.shape = null;
    const middle = [day.extent.lon, day.extent.lat];
    const reach = isRegional(day.extent) ? REACH_RAD : Infinity;
    this.places = new Float32Array(2 * day.state.length).fill(NaN);
    for (let i = 0; i < day.state.length; i++) {
      const place = [day.lon_deg[i], day.lat_deg[i]];
      if (geoDistance(place, middle) <= reach) this.places.set(this.projection(place), 2 * i);
    }
    this.shadows = day.state.length <= SHADOWS ? this.shadowsOf(day) : null;
    return this.places.slice();
  }

  // Each school's shadow at its noon, along the meridian and away from the Sun, as long
  // as it was beside a short gnomon: the map of shadows that the whole day is about.
  // Returns for each how far its end is from its foot, in pixels.
  shadowsOf({ lon_deg, lat_deg, shadow }) {
    return Array.from(shadow, (length, i) => {
      const [x, y] = this.projection([lon_deg[i], lat_deg[i] + Math.sign(length) * 0.2]);
      const [dx, dy] = [x - this.places[2 * i], y - this.places[2 * i + 1]];
      const px = (Math.min(Math.abs(length), LONGEST) * SHADOW_PX) / Math.hypot(dx, dy);
      return [dx * px, dy * px];
    });
  }

  // pairs: {a, b, state}, an array each; a and b: which sites, -1 none of the day.
  setPairs(pairs) {
    this.pairs = pairs;
  }

  setCoast(fine, topology) {
    this.coasts.set(fine, { topology, shape: null });
  }

  drawn(shape) {
    const path = new Path2D();
    geoPath(this.projection, path)(shape);
    return path;
  }

  coast(fine) {
    const coast = this.coasts.get(fine) ?? this.coasts.get(!fine);
    if (coast === undefined) return null;
    coast.shape ??= this.drawn(feature(coast.topology, coast.topology.objects.land));
    return coast.shape;
  }

  // view: see map_view.js; width, height: of the picture, px; fineness: dots a px; fine:
  // which coast; mark: size of a site's, px; inks {ink, shadow, land, ochre}; hidden {sites,
  // pairs}: whether each look is; picked: the site whose pairs stand out, -1 none. Returns
  // an ImageBitmap.
  paint({ view, width, height, fineness, fine, mark, inks, hidden, picked }) {
    const { canvas } = this;
    canvas.width = Math.round(width * fineness);
    canvas.height = Math.round(height * fineness);
    const context = canvas.getContext("2d");
    const dots = fineness * view.scale;
    context.setTransform(dots, 0, 0, dots, canvas.width / 2 - view.x * dots, canvas.height / 2 - view.y * dots);
    this.paintGround(context, view.scale, fine, inks);
    context.setTransform(fineness, 0, 0, fineness, 0, 0);
    this.spots = this.places.map((at, i) => (i % 2 === 0 ? (at - view.x) * view.scale + width / 2 : (at - view.y) * view.scale + height / 2));
    this.paintPairs(context, hidden.pairs, fineness);
    this.paintPickedPairs(context, picked, hidden.pairs, inks);
    if (this.shadows !== null) this.paintShadows(context, hidden.sites, inks);
    this.paintSites(context, { width, height, size: mark, hidden: hidden.sites, inks });
    return canvas.transferToImageBitmap();
  }

  paintGround(context, scale, fine, inks) {
    context.strokeStyle = inks.ink;
    context.lineWidth = 1 / scale;
    context.globalAlpha = 0.14;
    context.stroke(this.grid);
    const coast = this.coast(fine);
    if (coast !== null) {
      context.globalAlpha = 1;
      context.fillStyle = inks.land;
      context.fill(coast);
      context.globalAlpha = 0.55;
      context.lineWidth = 0.6 / scale;
      context.stroke(coast);
    }
    context.globalAlpha = 1;
  }

  // From site to site, of those pairs that are wanted(i).
  linesOf(wanted, dots) {
    const { a, b } = this.pairs;
    const lines = [];
    for (let i = 0; i < a.length; i++) {
      if (a[i] < 0 || b[i] < 0 || !wanted(i)) continue;
      const [x0, y0, x1, y1] = [this.spots[2 * a[i]], this.spots[2 * a[i] + 1], this.spots[2 * b[i]], this.spots[2 * b[i] + 1]];
      if (!Number.isNaN(x0 + x1)) lines.push(x0 * dots, y0 * dots, x1 * dots, y1 * dots);
    }
    return lines;
  }

  strokeLines(context, lines) {
    context.beginPath();
    for (let i = 0; i < lines.length; i += 4) {
      context.moveTo(lines[i], lines[i + 1]);
      context.lineTo(lines[i + 2], lines[i + 3]);
    }
    context.stroke();
  }

  paintPickedPairs(context, picked, hidden, inks) {
    const { a, b, state } = this.pairs;
    context.strokeStyle = inks.ochre;
    context.lineWidth = 2.4;
    this.strokeLines(context, this.linesOf((i) => (a[i] === picked || b[i] === picked) && !hidden[state[i]], 1));
  }

  paintPairs(context, hidden, fineness) {
    const { state } = this.pairs;
    if (this.pairs.a.length > CROWD) {
      const { width, height } = this.canvas;
      const image = new ImageData(width, height);
      layLines(image, this.looks.pairs.map(({ colour }, look) => ({ colour, lines: hidden[look] ? [] : this.linesOf((i) => state[i] === look, fineness) })));
      const crowd = new OffscreenCanvas(width, height);
      crowd.getContext("2d").putImageData(image, 0, 0);
      context.drawImage(crowd, 0, 0, width / fineness, height / fineness);
      return;
    }
    context.lineWidth = 1.4;
    context.globalAlpha = 0.85;
    this.looks.pairs.forEach(({ colour, dash }, look) => {
      if (hidden[look]) return;
      context.strokeStyle = colour;
      context.setLineDash(dash);
      this.strokeLines(context, this.linesOf((i) => state[i] === look, 1));
    });
    context.globalAlpha = 1;
    context.setLineDash([]);
  }

  paintShadows(context, hidden, inks) {
    context.strokeStyle = inks.shadow;
    context.lineWidth = 4;
    context.beginPath();
    this.shadows.forEach(([dx, dy], i) => {
      const [x, y] = [this.spots[2 * i], this.spots[2 * i + 1]];
      if (Number.isNaN(x + dx) || hidden[this.state[i]]) return;
      context.moveTo(x, y);
      context.lineTo(x + dx, y + dy);
    });
    context.stroke();
  }

  paintSites(context, { width, height, size, hidden, inks }) {
    this.looks.sites.forEach(({ shape, colour }, look) => {
      if (hidden[look]) return;
      context.beginPath();
      for (let i = 0; i < this.state.length; i++) {
        const [x, y] = [this.spots[2 * i], this.spots[2 * i + 1]];
        if (this.state[i] === look && x > -RIM_PX && y > -RIM_PX && x < width + RIM_PX && y < height + RIM_PX)
          trace(context, shape, x, y, size);
      }
      context.strokeStyle = shape === "cross" && colour !== "" ? colour : inks.ink;
      context.lineWidth = Math.min(shape === "cross" ? 2 : shape === "ring" ? 1.4 : 0.8, size / 4);
      context.fillStyle = colour;
      if (shape !== "cross" && shape !== "ring") context.fill();
      context.stroke();
    });
  }
}
