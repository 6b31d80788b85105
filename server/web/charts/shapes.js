// SPDX-License-Identifier: MIT
// The shapes that stand beside colours.

// Outlines about (0, 0), of one size to the eye, as polygons; a circle is null.
const POLYGONS = {
  circle: null,
  ring: null,
  diamond: [[0, -1.35], [1.35, 0], [0, 1.35], [-1.35, 0]],
  square: [[-0.95, -0.95], [0.95, -0.95], [0.95, 0.95], [-0.95, 0.95]],
  triangle: [[0, -1.3], [1.2, 0.9], [-1.2, 0.9]],
  down: [[0, 1.3], [1.2, -0.9], [-1.2, -0.9]],
  cross: [[-1, -1], [1, 1], [0, 0], [-1, 1], [1, -1], [0, 0]],
};

// Of which lines a shape is, for whoever draws it as a node; null for a circle.
export const outlineOf = (shape) => POLYGONS[shape];

// Adds a shape to the path that the context is drawing.
export function trace(context, shape, x, y, size) {
  const polygon = POLYGONS[shape];
  if (polygon === null) {
    context.moveTo(x + size, y);
    context.arc(x, y, size, 0, 2 * Math.PI);
    return;
  }
  polygon.forEach(([dx, dy], i) => {
    if (i === 0) context.moveTo(x + dx * size, y + dy * size);
    else context.lineTo(x + dx * size, y + dy * size);
  });
  if (shape !== "cross") context.closePath();
}
