// The wall clock of a block, which need not be that of the phone.

/** Parts of a moment on the wall of a zone, as UTC milliseconds. */
function wallMs(ms, zone) {
  const form = new Intl.DateTimeFormat("en-US", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit",
    hour: "2-digit", minute: "2-digit", second: "2-digit",
  });
  const parts = Object.fromEntries(form.formatToParts(new Date(ms)).map((part) => [part.type, Number(part.value)]));
  return Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute, parts.second);
}

/**
 * RFC 3339 in UTC of what a field for a time shows; of a time that comes twice the
 * first, of one that the clocks skip the moment at which they do.
 * @param {string} wall such as 2026-05-01T17:10
 * @param {string} zone IANA
 * @returns {string | null}
 */
export function toInstant(wall, zone) {
  const match = /^(\d{4})-(\d\d)-(\d\d)[T ](\d\d):(\d\d)(?::(\d\d))?$/.exec(wall.trim());
  if (!match) return null;
  const [, year, month, day, hour, minute, second] = match.map(Number);
  const wanted = Date.UTC(year, month - 1, day, hour, minute, second || 0);
  if (Number.isNaN(wanted)) return null;
  const DAY = 86_400_000;
  const offsets = [wanted - DAY, wanted + DAY].map((at) => wallMs(at, zone) - at);
  const found = offsets.map((offset) => wanted - offset).filter((at) => wallMs(at, zone) === wanted);
  if (found.length) return plain(Math.min(...found));
  // Skipped: the clocks jump somewhere between the two readings.
  let [low, high] = [wanted - Math.max(...offsets), wanted - Math.min(...offsets)];
  while (high - low > 1000) {
    const middle = Math.floor((low + high) / 2000) * 1000;
    if (wallMs(middle, zone) - middle === offsets[0]) low = middle; else high = middle;
  }
  return plain(high);
}

/** What a field for a time shows of a moment. @param {number} ms @param {string} zone */
export function toWall(ms, zone) {
  return new Date(wallMs(ms, zone)).toISOString().slice(0, 16);
}

/** RFC 3339 in whole seconds, as the server writes it. @param {number} ms */
export function plain(ms) {
  return new Date(Math.floor(ms / 1000) * 1000).toISOString().replace(".000Z", "Z");
}
