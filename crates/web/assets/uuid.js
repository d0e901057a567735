// Ids of entries, made on the phone: UUIDv7 (RFC 9562), so that they rise with time.

let last = 0n;

/**
 * An id above all that this page made before, also where the clock was put back.
 * @param {number} now milliseconds since 1970
 * @param {(bytes: Uint8Array) => Uint8Array} random fills bytes at random
 * @returns {string}
 */
export function uuid7(now = Date.now(), random = (bytes) => crypto.getRandomValues(bytes)) {
  const bytes = random(new Uint8Array(10));
  // The 12 bits behind the time rise within a millisecond.
  const start = BigInt(bytes[0] & 0x07) << 8n | BigInt(bytes[1]);
  let head = BigInt(Math.max(0, Math.floor(now))) << 12n | start;
  if (head <= last) head = last + 1n;
  last = head;
  const time = (head >> 12n).toString(16).padStart(12, "0");
  const more = (head & 0xfffn).toString(16).padStart(3, "0");
  bytes[2] = bytes[2] & 0x3f | 0x80;
  const rest = Array.from(bytes.slice(2), (byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${time.slice(0, 8)}-${time.slice(8)}-7${more}-${rest.slice(0, 4)}-${rest.slice(4)}`;
}
