// SPDX-License-Identifier: MIT
// Values into boxes of one width, for a histogram about a figure that they are held
// against.
const BINS = 31;
const FENCE = 3; // so many quartile distances beyond the quartiles a value is far outside (Tukey 1977)

function quantile(sorted, share) {
  return sorted[Math.min(Math.max(Math.round(share * (sorted.length - 1)), 0), sorted.length - 1)];
}

// Steps that people count in.
function stepFor(span) {
  const raw = span / BINS;
  const power = 10 ** Math.floor(Math.log10(raw));
  return power * [1, 2, 5, 10].find((factor) => factor * power >= raw);
}

// values: km. Returns {bins: [{from, to, count}], below, above, step}: all values are
// in a bin or counted beside them.
export function spreadBins(values, handbook) {
  const sorted = Float64Array.from(values).sort();
  const [first, third] = [quantile(sorted, 0.25), quantile(sorted, 0.75)];
  const reach = FENCE * (third - first);
  const low = Math.min(Math.max(sorted[0], first - reach), handbook);
  const high = Math.max(Math.min(sorted.at(-1), third + reach), handbook);
  const step = stepFor(Math.max(high - low, 10));
  const from = Math.floor(low / step) * step;
  const count = Math.floor(high / step) - Math.floor(low / step) + 1;
  const bins = Array.from({ length: count }, (_, i) => ({ from: from + i * step, to: from + (i + 1) * step, count: 0 }));
  let below = 0;
  let above = 0;
  for (const value of sorted) {
    const i = Math.floor((value - from) / step);
    if (i < 0) below++;
    else if (i >= count) above++;
    else bins[i].count++;
  }
  return { bins, below, above, step };
}
