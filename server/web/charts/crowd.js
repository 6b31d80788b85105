// SPDX-License-Identifier: MIT
// Many thousand thin lines at once. A canvas takes seconds to stroke 50 000 of them one
// over the other; counting how many pass through each pixel and colouring the counts
// takes some tens of milliseconds and says more: where there are many, it is darker.
const LEAST = 46; // opacity of a single line, of 255
const MORE = 22; // what each further one adds

function channels(colour) {
  return [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
}

// Lines (x0, y0, x1, y1 in turn in one array) as counts a pixel, clipped to the picture.
function countLines(lines, width, height) {
  const counts = new Uint16Array(width * height);
  for (let i = 0; i < lines.length; i += 4) {
    let x = lines[i];
    let y = lines[i + 1];
    const dx = lines[i + 2] - x;
    const dy = lines[i + 3] - y;
    const steps = Math.max(Math.ceil(Math.max(Math.abs(dx), Math.abs(dy))), 1);
    for (let step = 0; step <= steps; step++) {
      const column = Math.floor(x);
      const row = Math.floor(y);
      if (column >= 0 && row >= 0 && column < width && row < height) counts[row * width + column]++;
      x += dx / steps;
      y += dy / steps;
    }
  }
  return counts;
}

// A canvas with the lines in one colour ("#RRGGBB").
export function crowdOfLines(lines, width, height, colour) {
  const counts = countLines(lines, width, height);
  const [red, green, blue] = channels(colour);
  const image = new ImageData(width, height);
  for (let i = 0; i < counts.length; i++) {
    if (counts[i] === 0) continue;
    image.data[4 * i] = red;
    image.data[4 * i + 1] = green;
    image.data[4 * i + 2] = blue;
    image.data[4 * i + 3] = Math.min(LEAST + MORE * counts[i], 230);
  }
  const canvas = document.createElement("canvas");
  canvas.width = width;
  canvas.height = height;
  canvas.getContext("2d").putImageData(image, 0, 0);
  return canvas;
}
