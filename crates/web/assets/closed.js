// Blocks that nobody works in by what was sprayed from this phone: a kept page does not
// know of it.
import { all, remove } from "./base.js";
import { element } from "./elements.js";
import { said } from "./values.js";
import { toWall } from "./wall.js";
import { say } from "./words.js";

const HOUR = 3_600_000;
/** A spray without a recorded re-entry time closes its block for so long here, ms. */
const UNKNOWN = 72 * HOUR;

/** @typedef {{key: string, block: string, zone: string, entry: string, until: number | null, made: number}} Closing */

/**
 * What a saved spray, or what is added to one, closes; null for other entries.
 * @param {{block: string, entry: any, made: number}} record
 * @param {string} zone of the block
 * @returns {Closing | null}
 */
export function closing(record, zone) {
  const spray = said(record.entry);
  if (spray.kind !== "spray") return null;
  const from = Date.parse(spray.finished_at ?? spray.at);
  const hours = spray.reentry_hours;
  return {
    key: `closed:${record.entry.of ?? record.entry.id}`, block: record.block, zone, entry: record.entry.id, made: record.made,
    until: typeof hours === "number" ? from + hours * HOUR : null,
  };
}

const end = (one) => one.until ?? one.made + UNKNOWN;

/**
 * Of those the ones that hold and that the page cannot know of.
 * @param {Closing[]} closings
 * @param {{waiting: Set<string>, page: number, now: number}} at which entries wait, when the
 *   page was made and what time it is, both by the phone's clock
 * @returns {Map<string, Closing>} by block, the longest of each
 */
export function holding(closings, at) {
  const found = new Map();
  for (const one of closings) {
    const known = !at.waiting.has(one.entry) && at.page > one.made;
    if (known || end(one) <= at.now) continue;
    const other = found.get(one.block);
    if (!other || end(other) < end(one)) found.set(one.block, one);
  }
  return found;
}

/** @param {any} data what the page tells @param {number} ahead of the phone's clock, ms */
export async function closedHere(data, ahead) {
  const [kept, outbox] = await Promise.all(["kept", "outbox"].map((store) => all(store).catch(() => [])));
  const closings = kept.filter((one) => one.key.startsWith("closed:"));
  closings.filter((one) => end(one) <= Date.now()).forEach((one) => remove("kept", one.key).catch(() => {}));
  const waiting = new Set(outbox.map((record) => record.id));
  return holding(closings, { waiting, page: Date.parse(data?.now) + ahead, now: Date.now() });
}

/** @param {Closing} one */
export function sentence(one) {
  if (one.until === null) return say("phone.closed_unknown");
  // Rounded up: a minute early is too early.
  const until = Math.ceil(one.until / 60_000) * 60_000;
  return say("phone.closed", { until: toWall(until, one.zone).replace("T", " "), zone: one.zone });
}

/** On the day's page: says it, and takes away what asks for work there. @param {Map<string, Closing>} closed */
export function shut(closed) {
  for (const section of document.querySelectorAll("section[data-block]")) {
    const one = closed.get(section.dataset.block);
    const place = section.querySelector("[data-shut-here]");
    section.querySelectorAll("[data-asks]").forEach((ask) => { ask.hidden = Boolean(one); });
    if (!one) place?.remove();
    else if (!place) section.querySelector(".lead").after(element("p", { class: "shut", "data-shut-here": true }, sentence(one)));
  }
}
