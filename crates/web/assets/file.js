// Waiting entries as a file, and back from one: under the same ids, so that what was
// sent already is not sent twice.
import { inside } from "./base.js";
import { frozen } from "./clock.js";

const FORM = "bloomtide-entries-1";

/**
 * What waits, as a file. Where it was known how far the phone's clock is off, the times are
 * put right now: who reads the file has another clock.
 * @returns {Promise<string>}
 */
export async function written() {
  const entries = await inside(["outbox"], "readwrite", (at, give) => {
    const asked = at.outbox.getAll();
    asked.onsuccess = () => {
      const records = asked.result.map((record) => (typeof record.ahead === "number" ? frozen(record, record.ahead) : record));
      records.forEach((record) => at.outbox.put(record));
      give(records);
    };
  });
  return JSON.stringify({ form: FORM, entries }, null, 1);
}

/** Whether a record of a file can be taken. */
export function isRecord(record) {
  const texts = ["id", "block", "told"].every((name) => typeof record?.[name] === "string");
  return texts && Number.isInteger(record.year) && typeof record.entry === "object" && record.entry?.id === record.id
    && Array.isArray(record.clocked) && typeof record.made === "number";
}

/**
 * Takes the entries of a file that do not wait here already.
 * @param {string} text
 * @returns {Promise<number | null>} how many are new; null where it is no such file
 */
export async function taken(text) {
  let read;
  try {
    read = JSON.parse(text);
  } catch {
    return null;
  }
  if (read?.form !== FORM || !Array.isArray(read.entries) || !read.entries.every(isRecord)) return null;
  return inside(["outbox"], "readwrite", (at, give) => {
    let fresh = 0;
    give(0);
    for (const record of read.entries) {
      const asked = at.outbox.getKey(record.id);
      asked.onsuccess = () => {
        if (asked.result !== undefined) return;
        // This clock says nothing of the one by which it was written.
        at.outbox.put({ ...record, tried: true });
        give(++fresh);
      };
    }
  });
}
