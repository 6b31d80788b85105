// SPDX-License-Identifier: MIT
// Many thousand thin lines or dots at once. A canvas takes seconds to stroke 50 000 of them
// one over the other; counting how many lie on each pixel and colouring the counts takes
// some tens of milliseconds and says more: where there are many, it is darker.
// Opacity of a single one and of the thickest of the crowd; between them by the logarithm
// of the count, so that thin and thick are both told apart.
const OF_LINES = { least: 0.2, most: 0.8 };
const OF_DOTS = { least: 0.45, most: 0.95 };
const THICK = 8; // a crowd is called thick from this count on

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
function lay({ data }, counts, colour, thickest, { least, most }) {
  const ink = channels(colour);
  const rise = (most - least) / Math.log(Math.max(thickest, THICK));
  for (let i = 0; i < counts.length; i++) {
    if (counts[i] === 0) continue;
    const over = least + rise * Math.log(counts[i]);
    const under = (data[4 * i + 3] / 255) * (1 - over);
    for (let channel = 0; channel < 3; channel++)
      data[4 * i + channel] = (ink[channel] * over + data[4 * i + channel] * under) / (over + under);
    data[4 * i + 3] = 255 * (over + under);
  }
}

const thickest = (counts) => counts.reduce((most, count) => Math.max(most, count), 0);

// sets: {lines, colour} in turn, each over the ones before; one measure of thick for all.
export function layLines(image, sets) {
  const counted = sets.map(({ lines, colour }) => ({ counts: countLines(lines, image.width, image.height), colour }));
  const most = Math.max(...counted.map(({ counts }) => thickest(counts)));
  for (const { counts, colour } of counted) lay(image, counts, colour, most, OF_LINES);
}

export function layDots(image, points, radius, colour) {
  const counts = countDots(points, radius, image.width, image.height);
  lay(image, counts, colour, thickest(counts), OF_DOTS);
}
