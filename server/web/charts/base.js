// SPDX-License-Identifier: MIT
// What all charts share: colours that hold in light, dark and print, drawing to the
// width there is, a canvas laid under axes, and shapes that stand beside colours.
import { h, s } from "../house/dom.js";
import { pause } from "../house/pause.js";
import { outlineOf } from "./shapes.js";

// Okabe and Ito (2008); every one of them comes with a shape of its own.
export const OKABE_ITO = {
  blue: "#0072B2",
  vermillion: "#D55E00",
  green: "#009E73",
  orange: "#E69F00",
  sky: "#56B4E9",
};

// The inks of the page as it is now: "ink", "paper", "shadow", "ochre", "hairline".
export function ink(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim() || "#17222E";
}

// A drawing of Plot, made fit for a page that allows no style sheets but its own:
// what Plot's own sheet says stands in charts.css.
export function settle(drawing, label) {
  for (const sheet of drawing.querySelectorAll("style")) sheet.remove();
  drawing.classList.add("plot");
  drawing.setAttribute("role", "img");
  // A picture speaks through its label alone; its parts have no roles to bear one.
  for (const part of drawing.querySelectorAll("[aria-label], [aria-description]")) {
    if (/^[xy]-axis label$/.test(part.getAttribute("aria-label"))) part.classList.add("axis-label");
    part.removeAttribute("aria-label");
    part.removeAttribute("aria-description");
  }
  drawing.removeAttribute("aria-description");
  if (label !== undefined) drawing.setAttribute("aria-label", label);
  return drawing;
}

// Draws into host now, whenever its width changes and when light turns to dark.
// render(width) returns the nodes to show. Returns what redraws it by hand.
export function keepDrawn(host, render) {
  let width = 0;
  let asked = 0;
  const draw = () => {
    asked = 0;
    width = Math.floor(host.clientWidth);
    if (width > 0) host.replaceChildren(...[render(width)].flat());
  };
  const ask = () => {
    if (asked === 0) asked = requestAnimationFrame(draw);
  };
  new ResizeObserver(() => {
    if (Math.floor(host.clientWidth) !== width) ask();
  }).observe(host);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", ask);
  draw();
  return ask;
}

// A canvas as large as the drawing that will lie on it, sharp on fine screens.
// paint(context, dots a pixel) comes after the drawing is shown.
export function canvasUnder(width, height, paint) {
  const fineness = Math.min(window.devicePixelRatio || 1, 2);
  const canvas = h("canvas", { class: "under", width: Math.round(width * fineness), height: Math.round(height * fineness), "aria-hidden": "true" });
  canvas.style.width = `${width}px`;
  canvas.style.height = `${height}px`;
  pause().then(() => paint(canvas.getContext("2d"), fineness));
  return canvas;
}

// A shape as a node, for legends, small charts and pictures of few points.
export function shapeNode(shape, x, y, size, attributes) {
  const outline = outlineOf(shape);
  if (outline === null) return s("circle", { cx: x, cy: y, r: size, ...attributes });
  const d = outline.map(([dx, dy], i) => `${i === 0 ? "M" : "L"}${x + dx * size},${y + dy * size}`).join("");
  return s("path", { d: shape === "cross" ? d : `${d}Z`, ...attributes });
}

// A category in a key: its shape and its words.
export const keyItem = (look, text) => h("li", {}, sample(shapeNode(look.shape, 14, 8, 5.2, lookOf(look))), h("span", {}, text));
export const sample = (node) => s("svg", { class: "sample", viewBox: "0 0 28 16", width: 28, height: 16, "aria-hidden": "true" }, node);

// How a category looks: a filled shape with a hairline of ink, a hollow ring, a cross.
export function lookOf({ shape, colour }) {
  if (shape === "cross") return { fill: "none", stroke: colour || "currentColor", "stroke-width": 2.2 };
  if (shape === "ring") return { fill: "none", stroke: "currentColor", "stroke-width": 1.4 };
  return { fill: colour, stroke: "currentColor", "stroke-width": 0.7 };
}
