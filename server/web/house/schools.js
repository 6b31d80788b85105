// SPDX-License-Identifier: MIT
// Keys of schools that a teacher chose to keep on this device.
const NAME = "school-keys";

function read() {
  try {
    return JSON.parse(localStorage.getItem(NAME) ?? "{}");
  } catch {
    return {};
  }
}

export const schoolKey = (site) => read()[site];
export const keptSchools = () => Object.keys(read());
export function keepSchoolKey(site, key) {
  const keys = read();
  if (key === null) delete keys[site];
  else keys[site] = key;
  try {
    localStorage.setItem(NAME, JSON.stringify(keys));
  } catch { /* asked again next time */ }
}
