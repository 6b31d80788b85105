// SPDX-License-Identifier: MIT
// Many thousand thin lines or dots at once. A canvas takes seconds to stroke 50 000 of them
// one over the other; counting how many lie on each pixel and colouring the counts takes
// some tens of milliseconds and says more: where there are many, it is darker.
const MOST = 230 / 255; // opacity
const OF_LINES = { least: 46 / 255, more: 22 / 255 }; // of a single one, and what each further one adds
const OF_DOTS = { least: 110 / 255, more: 40 / 255 };

const channels = (colour) => [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));

// The part of a line within the picture, as shares [from, to] of its length; null when
// none is (Liang and Barsky 1984).
export function inside(x, y, dx, dy, width, height) {
  let from = 0;
  let to = 1;
  for (const [step, room] of [[-dx, x], [dx, width - x], [-dy, y], [dy, height - y]]) {
    if (step === 0 && room < 0) return null;
    if (step < 0) from = Math.max(from, room / step);
    if (step > 0) to = Math.min(to, room / step);
  }
  return from < to ? [from, to] : null;
}

// Lines (x0, y0, x1, y1 in turn in one array) as counts a pixel.
function countLines(lines, width, height) {
  const counts = new Uint16Array(width * height);
  for (let i = 0; i < lines.length; i += 4) {
    const dx = lines[i + 2] - lines[i];
    const dy = lines[i + 3] - lines[i + 1];
    const part = inside(lines[i], lines[i + 1], dx, dy, width - 1, height - 1);
    if (part === null) continue;
    const [from, to] = part;
    const steps = Math.max(Math.ceil((to - from) * Math.max(Math.abs(dx), Math.abs(dy))), 1);
    const across = ((to - from) * dx) / steps;
    const down = ((to - from) * dy) / steps;
    let x = lines[i] + from * dx + 0.5;
    let y = lines[i + 1] + from * dy + 0.5;
    for (let step = 0; step <= steps; step++) {
      counts[(y | 0) * width + (x | 0)]++;
      x += across;
      y += down;
    }
  }
  return counts;
}

// Discs of a radius about points (x, y in turn in one array) as counts a pixel.
function countDots(points, radius, width, height) {
  const counts = new Uint16Array(width * height);
  for (let i = 0; i < points.length; i += 2)
    for (let y = Math.max(Math.ceil(points[i + 1] - radius), 0); y <= Math.min(points[i + 1] + radius, height - 1); y++) {
      const half = Math.sqrt(radius ** 2 - (y - points[i + 1]) ** 2);
      for (let x = Math.max(Math.ceil(points[i] - half), 0); x <= Math.min(points[i] + half, width - 1); x++) counts[y * width + x]++;
    }
  return counts;
}

// Lays counts in one colour ("#RRGGBB") over what the picture (ImageData) has.
function lay({ data }, counts, colour, { least, more }) {
  const ink = channels(colour);
  for (let i = 0; i < counts.length; i++) {
    if (counts[i] === 0) continue;
    const over = Math.min(least + more * (counts[i] - 1), MOST);
    const under = (data[4 * i + 3] / 255) * (1 - over);
    for (let channel = 0; channel < 3; channel++)
      data[4 * i + channel] = (ink[channel] * over + data[4 * i + channel] * under) / (over + under);
    data[4 * i + 3] = 255 * (over + under);
  }
}

export const layLines = (image, lines, colour) => lay(image, countLines(lines, image.width, image.height), colour, OF_LINES);
export const layDots = (image, points, radius, colour) => lay(image, countDots(points, radius, image.width, image.height), colour, OF_DOTS);
