// SPDX-License-Identifier: MIT
// Coasts and borders as one path of a drawing whose units are degrees, x east and y
// south. Loaded when a map asks for it.

const JUMP_DEG = 180; // a line that leaves the map on one side comes back on the other

function draw(line) {
  let before = null;
  return line.map(([lon, lat]) => {
    const pen = before === null || Math.abs(lon - before) > JUMP_DEG ? "M" : "L";
    before = lon;
    return `${pen}${lon.toFixed(2)} ${(-lat).toFixed(2)}`;
  }).join("");
}

export async function outlines() {
  const [{ default: atlas }, { mesh }] = await Promise.all([import("world-atlas/countries-110m.json"), import("topojson-client")]);
  return mesh(atlas, atlas.objects.countries).coordinates.map(draw).join("");
}
