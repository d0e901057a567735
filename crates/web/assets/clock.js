// The phone's clock against the server's: entries carry when something was seen, so a
// clock that is off is put right before they first go out.

/** A clock that is off by less is left as it is. */
export const TOLERATED_MS = 60_000;

/**
 * By how much the phone's clock is ahead, by an answer that bears the server's.
 * @param {number} sent when it was asked, phone's clock, ms
 * @param {number} got when the answer came
 * @param {string} server the server's clock, RFC 3339
 * @returns {number | null} ms
 */
export function ahead(sent, got, server) {
  const then = Date.parse(server);
  if (Number.isNaN(then) || got < sent) return null;
  // The server's clock is told in whole seconds: half of one is the best guess.
  return Math.round((sent + got) / 2 - then - 500);
}

/** Whether it matters. @param {number | null} ms */
export function isOff(ms) {
  return ms !== null && ms !== undefined && Math.abs(ms) > TOLERATED_MS;
}

/** A time shifted back by how far the clock was ahead. @param {string} at @param {number} ms */
export function shifted(at, ms) {
  const then = Math.round((Date.parse(at) - ms) / 1000) * 1000;
  return new Date(then).toISOString().replace(".000Z", "Z");
}

/**
 * A record of the outbox as it goes out from now on: times that the clock gave are put
 * right, once, and nothing of it changes any more.
 * @param {{entry: any, clocked: string[], tried: boolean}} record
 * @param {number | null} ms how far the clock is ahead
 */
export function frozen(record, ms) {
  if (record.tried) return record;
  const entry = structuredClone(record.entry);
  if (isOff(ms)) {
    for (const path of record.clocked) {
      const names = path.split("/");
      const name = names.pop();
      const place = names.reduce((at, one) => at && at[one], entry);
      if (place && typeof place[name] === "string") place[name] = shifted(place[name], ms);
    }
  }
  return { ...record, entry, tried: true };
}
