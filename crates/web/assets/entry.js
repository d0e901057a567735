// A filled form as an entry, ready for the outbox.
import { read } from "./numbers.js";
import { plain, toInstant } from "./wall.js";

/** Longest summary in the list of what waits. */
const BRIEF = 60;

/**
 * @typedef {{name: string, as: string, text: string, label: string, needed: boolean, clock: number | null}} Field
 * `clock` is the moment that the phone's clock gave, where nobody typed one.
 */

/**
 * @param {{what: string, kind: string, title: string, fields: Field[], of: string | null, before: any,
 *   id: string, now: number, zone: string, by: string | null, begun?: boolean}} form `begun` is
 *   whether the begin of what it adds to came from the phone's clock and was not put right yet
 * @returns {{entry: any, clocked: string[], told: string} | {wrong: {key: string, places: any}}}
 */
export function made(form) {
  const corrects = form.kind !== "withdrawal" && form.of !== null;
  const entry = { ...(form.before ?? {}) };
  delete entry.id;
  delete entry.received_at;
  entry.kind = form.kind;
  const clocked = corrects && form.begun ? ["entry/at"] : [];
  let brief = "";
  for (const field of form.fields) {
    const text = field.text.trim();
    if (field.as === "entry") {
      if (text === "") return { wrong: { key: "phone.missing", places: { field: field.label } } };
      continue;
    }
    if (text === "" && field.clock === null) {
      if (field.needed) return { wrong: { key: "phone.missing", places: { field: field.label } } };
      // The rest of a spray only adds: what is left empty there stays as recorded.
      if (form.what !== "spray-rest") delete entry[field.name];
      continue;
    }
    if (field.as === "moment") {
      const at = field.clock === null ? toInstant(text, form.zone) : plain(field.clock);
      if (at === null) return { wrong: { key: "phone.no_time", places: { piece: text } } };
      entry[field.name] = at;
      if (field.clock !== null) clocked.push(corrects ? `entry/${field.name}` : field.name);
      continue;
    }
    const came = read(field.as, text);
    if ("wrong" in came) return { wrong: { key: "phone.no_number", places: { piece: came.wrong } } };
    entry[field.name] = came.value;
    brief ||= text;
  }
  // Of a correction the first writer's name stays within; who corrects stands beside it.
  const by = form.by ? { by: form.by } : {};
  const told = `${form.title} ${brief}`.trim().slice(0, BRIEF);
  if (corrects) {
    clocked.push("at");
    return { entry: { id: form.id, kind: "correction", at: plain(form.now), of: form.of, ...by, entry }, clocked, told };
  }
  if (form.kind === "withdrawal") entry.of = form.of;
  return { entry: { id: form.id, ...by, ...entry }, clocked, told };
}
