// Entries on their way to the server: each once, whatever goes wrong in between.
import { all, inside, put } from "./base.js";
import { ahead, frozen } from "./clock.js";

/** Entries in one request. */
const AT_ONCE = 50;
/** How long an answer may take, ms. */
const PATIENCE = 20_000;

/** @typedef {"none" | "sent" | "offline" | "signed-out" | "other-person" | "failed"} How */

/** @type {Promise<{how: How, ahead: number | null}> | null} */
let underWay = null;

/**
 * Sends what waits; a second call while one is under way is the same one.
 * @param {boolean} ask whether the server is asked for its time where nothing waits
 */
export function send(ask = false) {
  underWay ??= alone(ask).finally(() => { underWay = null; });
  return underWay;
}

/** Of several pages one sends at a time, where the browser can tell. */
function alone(ask) {
  const locks = globalThis.navigator?.locks;
  return locks ? locks.request("bloomtide-sending", () => sendAll(ask)) : sendAll(ask);
}

const noted = (ahead) => put("kept", { key: "ahead", ms: ahead, at: Date.now() });

async function sendAll(ask) {
  const waiting = (await all("outbox")).filter((record) => !record.outcome);
  if (waiting.length === 0 && ask) {
    const contact = await post(null, []);
    if (contact.ahead !== null) await noted(contact.ahead);
    return { how: contact.how === "sent" ? "none" : contact.how, ahead: contact.ahead };
  }
  let worst = { how: waiting.length ? "sent" : "none", ahead: null };
  for (const person of new Set(waiting.map((record) => record.person))) {
    const theirs = waiting.filter((record) => record.person === person);
    for (let from = 0; from < theirs.length; from += AT_ONCE) {
      const came = await sendSome(person, theirs.slice(from, from + AT_ONCE));
      if (came.ahead !== null) await noted(came.ahead);
      if (came.how !== "sent") {
        worst = came;
        break;
      }
      worst = { how: worst.how, ahead: came.ahead };
    }
    if (worst.how === "offline" || worst.how === "signed-out") break;
  }
  return worst;
}

async function sendSome(person, records) {
  let known = null;
  if (records.some((record) => !record.tried)) {
    const contact = await post(person, []);
    if (contact.how !== "sent") return contact;
    known = contact.ahead;
  }
  const sent = await inside(["outbox", "kept"], "readwrite", (at, give) => {
    const going = [];
    give(going);
    for (const { id } of records) {
      const asked = at.outbox.get(id);
      asked.onsuccess = () => {
        if (!asked.result || asked.result.outcome) return;
        const record = frozen(asked.result, known);
        at.outbox.put(record);
        going.push(record);
        if (record.entry.kind === "spray") putRight(at.kept, record);
      };
    }
  });
  const came = await post(person, sent);
  if (came.how === "sent") await settle(came.answers);
  return came;
}

/** The rest of a spray is built on the begin that goes out. */
function putRight(kept, record) {
  const asked = kept.get(`spray:${record.id}`);
  asked.onsuccess = () => {
    if (asked.result) kept.put({ ...asked.result, entry: record.entry, clocked: [] });
  };
}

/** Takes what is stored out of the list, and notes why the rest was not. */
function settle(answers) {
  return inside(["outbox"], "readwrite", (at) => {
    for (const { id, outcome, said } of answers) {
      if (typeof id !== "string") continue;
      if (outcome === "kept" || outcome === "known") {
        at.outbox.delete(id);
        continue;
      }
      const asked = at.outbox.get(id);
      asked.onsuccess = () => {
        if (asked.result) at.outbox.put({ ...asked.result, outcome, said });
      };
    }
  });
}

async function post(person, records) {
  const entries = records.map(({ block, year, entry }) => ({ block, year, entry }));
  const sent = Date.now();
  let answer;
  try {
    answer = await fetch("/entries", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ sent_at: new Date(sent).toISOString(), person, entries }),
      signal: AbortSignal.timeout?.(PATIENCE),
    });
  } catch {
    return { how: "offline", ahead: null, answers: [] };
  }
  const body = await answer.json().catch(() => null);
  if (answer.ok && Array.isArray(body?.answers)) {
    return { how: "sent", ahead: ahead(sent, Date.now(), body.now), answers: body.answers };
  }
  const how = { 401: "signed-out", 409: "other-person" }[answer.status] ?? "failed";
  return { how, ahead: null, answers: [] };
}
