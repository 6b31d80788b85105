// SPDX-License-Identifier: MIT
// Numbers, dates, times and places as people read them, by locale; and as they type
// them. Figures follow their uncertainty: two significant digits of sigma, the value
// to the same place (GUM 7.2.6).

import { h } from "./dom.js";
import { locale, rowOf, word } from "./words.js";

const THIN = "\u202f"; // narrow no-break space, between a figure and its unit and in thousands
const MINUS = "\u2212";

// A format is costly to make and cheap to use.
const formats = new Map();
function formatOf(decimals, useGrouping) {
  const name = `${decimals} ${useGrouping}`;
  if (!formats.has(name))
    formats.set(name, new Intl.NumberFormat(locale, { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping }));
  return formats.get(name);
}

const rounded = (value, decimals) => (Number(value.toFixed(decimals)) === 0 ? 0 : value);

export function number(value, decimals = 0) {
  const parts = formatOf(decimals, Math.abs(value) >= 10000).formatToParts(rounded(value, decimals));
  return parts.map(({ type, value: text }) => (type === "group" ? THIN : type === "minusSign" ? MINUS : text)).join("");
}

// Rows KEY.one and KEY.other; the count is put in as {count}.
export const countWord = (key, count, values = {}) => word(rowOf(key, count), { count: number(count), ...values });

export const signed = (value, decimals = 0) => (rounded(value, decimals) > 0 ? "+" : "") + number(value, decimals);
export const withUnit = (value, decimals, unit) => `${number(value, decimals)}${THIN}${unit}`;

// {value, sigma} as text; sigma null where there is none.
export function withSigma(value, sigma) {
  if (sigma === null || !(sigma > 0)) return { value: number(value), sigma: null };
  let place = Math.floor(Math.log10(sigma)) - 1;
  if (Math.round(Number((sigma / 10 ** place).toPrecision(12))) >= 100) place += 1; // 9.95 is 10 already
  const unit = 10 ** Math.max(place, 0);
  const shown = (figure) => number(place > 0 ? Math.round(figure / unit) * unit : figure, Math.max(-place, 0));
  return { value: shown(value), sigma: shown(sigma) };
}

// A figure with its sigma set smaller beside it.
export function measured(value, sigma, unit = "") {
  if (value === null) return h("span", {}, "–");
  const shown = withSigma(value, sigma);
  const sign = unit === "" || unit === "°" ? unit : THIN + unit;
  return h("span", { class: "measured" }, shown.value,
    h("span", { class: "sigma" }, (shown.sigma === null ? "" : ` ± ${shown.sigma}`) + sign));
}

// --- time; zone: an IANA name, or undefined for the device's own

const shape = (zone, options) => new Intl.DateTimeFormat(locale, { timeZone: zone, hourCycle: "h23", ...options });
export const clockTime = (ms, zone) => shape(zone, { hour: "2-digit", minute: "2-digit", second: "2-digit" }).format(ms);
export const clockMinute = (ms, zone) => shape(zone, { hour: "2-digit", minute: "2-digit" }).format(ms);
// Of a date without a time, "2027-03-18".
export const longDate = (date) =>
  shape("UTC", { weekday: "long", day: "numeric", month: "long", year: "numeric" }).format(Date.parse(`${date}T12:00:00Z`));
export const shortDate = (date) =>
  shape("UTC", { day: "numeric", month: "short", year: "numeric" }).format(Date.parse(`${date}T12:00:00Z`));

// "2 days 3 h", "3 h 05 min", "4 min 09 s", "9 s".
export function span(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const [days, hours, minutes, rest] = [Math.floor(whole / 86400), Math.floor(whole / 3600) % 24, Math.floor(whole / 60) % 60, whole % 60];
  const unit = (value, name, digits) => new Intl.NumberFormat(locale, {
    style: "unit", unit: name, unitDisplay: name === "day" ? "long" : "short", minimumIntegerDigits: digits, useGrouping: false,
  }).format(value);
  if (days > 0) return `${unit(days, "day", 1)} ${unit(hours, "hour", 1)}`;
  if (hours > 0) return `${unit(hours, "hour", 1)} ${unit(minutes, "minute", 2)}`;
  return minutes > 0 ? `${unit(minutes, "minute", 1)} ${unit(rest, "second", 2)}` : unit(rest, "second", 1);
}

// --- places

export function degrees(value, decimals, positive, negative) {
  return `${number(Math.abs(value), decimals)}°${THIN}${value < 0 ? negative : positive}`;
}

// --- what people type

// "1.25", "1,25" and "1 250": a number, or null.
export function parseNumber(text) {
  const plain = text.trim().replace(/[\s\u202f\u00a0]/g, "").replace(",", ".").replace(MINUS, "-");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
}

// "44.53", "-44,53", "44° 31.8' S", "44 31 48 s", "W 71 05": degrees, or null. A letter
// or a sign may say the side, not both. east, west, north and south in the languages
// of the pages: N S E W O.
export function parseAngle(text, positive, negative) {
  const plain = text.trim().toUpperCase().replace(/,/g, ".").replace(MINUS, "-");
  const letters = plain.replace(/[^A-Z]/g, "");
  const figures = plain.replace(/[A-Z]/g, " ").replace(/[°º'′’"″”:]/g, " ").trim();
  if (letters.length > 1 || !/^[+-]?\d+(\.\d+)?(\s+\d+(\.\d+)?){0,2}$/.test(figures)) return null;
  const parts = figures.split(/\s+/);
  const minus = parts[0].startsWith("-");
  const [whole, minutes = 0, seconds = 0] = parts.map((part) => Math.abs(Number(part)));
  if (parts.slice(0, -1).some((part) => part.includes(".")) || minutes >= 60 || seconds >= 60) return null;
  const side = letters === "" ? 1 : positive.includes(letters) ? 1 : negative.includes(letters) ? -1 : 0;
  if (side === 0 || (letters !== "" && /^[+-]/.test(parts[0]))) return null;
  return side * (minus ? -1 : 1) * (whole + minutes / 60 + seconds / 3600);
}
