// SPDX-License-Identifier: MIT
// A map to point at: coasts and borders on a plain grid of degrees, no names, no
// outside host. A click tells a place as finely as a dot of the screen is wide. What
// it shows and takes stands in fields beside it, so it is not read out.

import { fill, h, s } from "./dom.js";
import { number, withUnit } from "./format.js";
import { outlines } from "./outlines.js";
import { word } from "./words.js";

const KM_PER_DEG = 111.2;
const STEPS_DEG = [60, 30, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005];
const ZOOM_MAX = 4096;
const ZOOM_STEP = 4;

// Lines of whole degrees, or of parts of one, three to seven across, with their names.
function drawGrid(grid, { left, top, width, height }) {
  const step = STEPS_DEG.find((deg) => width / deg >= 3);
  const decimals = Math.max(0, -Math.floor(Math.log10(step)));
  const lines = (from, length) => {
    const found = [];
    for (let at = Math.ceil(from / step); at * step <= from + length; at += 1) found.push(at * step);
    return found;
  };
  const size = width / 32;
  fill(grid,
    s("path", { class: "graticule", d: lines(left, width).map((lon) => `M${lon} ${top}v${height}`).join("") + lines(top, height).map((y) => `M${left} ${y}h${width}`).join("") }),
    lines(left, width).slice(1).map((lon) => s("text", { x: lon + size / 4, y: top + height - size / 3, "font-size": size }, `${number(lon, decimals)}°`)),
    lines(top, height).slice(1).map((y) => s("text", { x: left + size / 4, y: y - size / 4, "font-size": size }, `${number(-y, decimals)}°`)));
}

// {node, show(place or null)}; picked({lat_deg, lon_deg, blur_km}) is called on a click.
export function pointMap(picked) {
  const land = s("path", { class: "coast" });
  const cross = s("path", { class: "here" });
  const grid = s("g");
  const svg = s("svg", { class: "point-map", "aria-hidden": "true", focusable: "false" }, grid, land, cross);
  const scale = h("span", { class: "quiet" });
  let zoom = 1;
  let middle = { lat_deg: 0, lon_deg: 0 };
  let place = null;

  function draw() {
    const width = 360 / zoom;
    const height = 180 / zoom;
    const left = Math.min(Math.max(middle.lon_deg - width / 2, -180), 180 - width);
    const top = Math.min(Math.max(-middle.lat_deg - height / 2, -90), 90 - height);
    svg.setAttribute("viewBox", `${left} ${top} ${width} ${height}`);
    const arm = width / 24;
    drawGrid(grid, { left, top, width, height });
    cross.setAttribute("d", place === null ? "" : `M${place.lon_deg} ${-place.lat_deg - arm}v${2 * arm}M${place.lon_deg - arm} ${-place.lat_deg}h${2 * arm}`);
    fill(scale, word("map.wide", { width: withUnit(width * KM_PER_DEG * Math.cos((middle.lat_deg * Math.PI) / 180), 0, "km") }));
    closer.disabled = zoom >= ZOOM_MAX;
    wider.disabled = zoom === 1;
  }
  function zoomBy(factor) {
    zoom = Math.min(Math.max(zoom * factor, 1), ZOOM_MAX);
    if (place !== null) middle = place;
    draw();
  }
  const closer = h("button", { type: "button", class: "small", on: { click: () => zoomBy(ZOOM_STEP) } }, word("map.closer"));
  const wider = h("button", { type: "button", class: "small", on: { click: () => zoomBy(1 / ZOOM_STEP) } }, word("map.wider"));

  svg.addEventListener("click", (event) => {
    const matrix = svg.getScreenCTM().inverse();
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
    place = { lat_deg: -at.y, lon_deg: at.x };
    middle = place;
    draw();
    picked({ ...place, blur_km: Math.abs(matrix.a) * KM_PER_DEG });
  });
  draw();
  outlines().then((path) => land.setAttribute("d", path));
  return {
    node: h("div", { class: "map-frame" }, svg, h("div", { class: "buttons" }, closer, wider, scale)),
    show(shown) {
      place = shown;
      if (shown !== null) {
        middle = shown;
        zoom = Math.max(zoom, ZOOM_STEP ** 2);
      }
      draw();
    },
  };
}
