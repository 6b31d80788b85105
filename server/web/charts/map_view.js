// SPDX-License-Identifier: MIT
// What part of a map is looked at. The map lies on a plane (x east, y south, PLANE units
// a radian); a view of it has its middle there and its scale, px a unit.

export const PLANE = 1000;
const REGION_DEG = 105; // a wider extent is shown on a map of the world
const COARSE_DEG = 70; // of what is seen; beyond it the coarse coastline serves
const WORLD_WIDE = 5.5; // radians of the plane from side to side of the world
const RIM = { region: { x: 1390, y: 1390 }, world: { x: 2700, y: 1320 } }; // of what there is to see
const ZOOM = { least: 0.5, most: 60 };
const RAD = Math.PI / 180;

// Middle and span of some places; longitudes about their widest empty gap, so that a
// country on both sides of the date line is one.
export function extentOf(places) {
  if (places.length === 0) return { lon: 0, lat: 0, span: 170 };
  const lons = Float64Array.from(places, ({ lon_deg }) => lon_deg).sort();
  let gap = lons[0] + 360 - lons.at(-1);
  let first = lons[0];
  for (let i = 1; i < lons.length; i++)
    if (lons[i] - lons[i - 1] > gap) {
      gap = lons[i] - lons[i - 1];
      first = lons[i];
    }
  let low = 90;
  let high = -90;
  for (const { lat_deg } of places) {
    low = Math.min(low, lat_deg);
    high = Math.max(high, lat_deg);
  }
  const lat = (low + high) / 2;
  return { lon: first + (360 - gap) / 2, lat, span: Math.max(high - low, (360 - gap) * Math.cos(lat * RAD), 2) };
}

export const isRegional = (extent) => extent.span < REGION_DEG;

// The whole extent, with a margin, in a picture of this size.
export function wholeView(extent, width, height) {
  const span = Math.min(extent.span * 1.12, 170) * RAD;
  const scale = isRegional(extent) ? Math.min(width, height) / (4 * Math.sin(span / 4)) : width / WORLD_WIDE;
  return { x: 0, y: 0, scale: scale / PLANE, zoom: 1 };
}

const within = (value, most) => Math.min(Math.max(value, -most), most);

// By pixels, east and south positive.
export function moved(view, extent, right, down) {
  const rim = isRegional(extent) ? RIM.region : RIM.world;
  return { ...view, x: within(view.x + right / view.scale, rim.x), y: within(view.y + down / view.scale, rim.y) };
}

// By a factor, about a point so many pixels off the middle.
export function zoomed(view, extent, factor, right = 0, down = 0) {
  const zoom = Math.min(Math.max(view.zoom * factor, ZOOM.least), ZOOM.most);
  const grown = zoom / view.zoom;
  return moved({ ...view, zoom, scale: view.scale * grown }, extent, right * (grown - 1), down * (grown - 1));
}

export const seesCoastsFine = (view, extent) => extent.span / view.zoom < COARSE_DEG;

// How large a mark is, px: of a few sites larger than of many, larger from near, and never
// so large that a crowd of them covers everything.
export function markSize(view, sites, width, height) {
  const wished = (9 - Math.log10(sites + 1) * 1.6) * Math.sqrt(Math.min(view.zoom, 4));
  const room = 0.3 * view.zoom * Math.sqrt((width * height) / Math.max(sites, 1));
  return Math.max(Math.min(wished, room, 8), 1.1);
}

export const toScreen = (view, x, y, width, height) => ({ x: (x - view.x) * view.scale + width / 2, y: (y - view.y) * view.scale + height / 2 });
