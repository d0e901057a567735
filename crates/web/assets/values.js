// What stands in an entry, as the fields of its form show it.
import { toWall } from "./wall.js";

/**
 * @param {string} as what a field holds
 * @param {any} value what the entry says
 * @param {string} zone of the block
 * @returns {string}
 */
export function shown(as, value, zone) {
  if (value === undefined || value === null) return "";
  if (as === "moment") return toWall(Date.parse(value), zone);
  // A share of 0.07 is 7 per cent and not 7.000000000000001.
  if (as === "percent") return String(Math.round(value * 1e6) / 1e4);
  return Array.isArray(value) ? value.join(" ") : String(value);
}

/** What a field held when the page came; a browser may have put something else there. */
export function initial(field) {
  if (field.options) return [...field.options].find((option) => option.defaultSelected)?.value ?? "";
  return field.defaultValue;
}

/** What an entry says itself, below the correction that carries it. @param {any} entry */
export function said(entry) {
  return entry.kind === "correction" ? entry.entry : entry;
}
