import assert from "node:assert/strict";
import test from "node:test";

import { ahead, frozen, isOff, shifted } from "../clock.js";
import { after, begun, numbers } from "../counting.js";
import { closing, holding } from "../closed.js";
import { made } from "../entry.js";
import { isRecord } from "../file.js";
import { decimal, mean, pieces, read, whole } from "../numbers.js";
import { uuid7 } from "../uuid.js";
import { said, shown } from "../values.js";
import { plain, toInstant, toWall } from "../wall.js";

const ZONE = "America/New_York";

test("ids are UUIDv7 and rise, also within a millisecond and when the clock goes back", () => {
  const ids = Array.from({ length: 5_000 }, (_, n) => uuid7(1_367_000_000_000 - n % 7));
  assert.ok(ids.every((id) => /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/.test(id)), ids[0]);
  assert.deepEqual([...ids].sort(), ids);
  assert.equal(new Set(ids).size, ids.length);
  assert.equal(parseInt(uuid7(1_867_000_000_000).replaceAll("-", "").slice(0, 12), 16), 1_867_000_000_000);
});

test("numbers are parted by blanks, lines and semicolons, with comma or point", () => {
  assert.deepEqual(pieces(" 41 66;58\r\n47, 73 "), ["41", "66", "58", "47", "73"]);
  assert.equal(whole("41,66"), null);
  assert.equal(whole("-4"), -4);
  assert.equal(decimal("8,5"), 8.5);
  assert.equal(decimal("8.5.1"), null);
  assert.equal(decimal("nan"), null);
  assert.deepEqual(read("percent", "62,5 %"), { value: 0.625 });
  assert.deepEqual(read("counts", "41 6x"), { wrong: "6x" });
  assert.deepEqual(read("either", "false"), { value: false });
  assert.equal(mean([]), null);
  assert.equal(mean([1, 2]), 1.5);
});

test("times stand on the block's wall clock", () => {
  assert.equal(toInstant("2013-05-01T20:20", ZONE), "2013-05-02T00:20:00Z");
  assert.equal(toWall(Date.parse("2013-05-02T00:20:00Z"), ZONE), "2013-05-01T20:20");
  assert.equal(toInstant("2013-11-03T01:30", ZONE), "2013-11-03T05:30:00Z", "of a time that comes twice the first");
  assert.equal(toInstant("2013-03-10T02:30", ZONE), "2013-03-10T07:00:00Z", "a time that is skipped");
  assert.equal(toInstant("2013-10-06T02:30", "Australia/Sydney"), "2013-10-05T16:00:00Z");
  assert.equal(toInstant("tomorrow", ZONE), null);
  assert.equal(plain(1_367_000_000_999), "2013-04-26T18:13:20Z");
});

test("a clock that is off is found and put right once", () => {
  const server = "2013-05-01T12:00:00Z";
  const sent = Date.parse("2013-05-01T13:00:00.400Z");
  const off = ahead(sent, sent + 200, server);
  assert.ok(Math.abs(off - 3_600_000) <= 1_000, String(off));
  assert.equal(ahead(sent, sent - 1, server), null, "the clock was set meanwhile");
  assert.ok(isOff(off) && !isOff(59_000) && !isOff(null));
  assert.equal(shifted("2013-05-01T13:00:00Z", 3_600_000), "2013-05-01T12:00:00Z");
  const record = {
    entry: { id: "a", at: "2013-05-01T13:00:00Z", entry: { finished_at: "2013-05-01T14:00:00Z", at: "2013-05-01T09:00:00Z" } },
    clocked: ["at", "entry/finished_at"], tried: false,
  };
  const once = frozen(record, 3_600_000);
  assert.equal(once.entry.at, "2013-05-01T12:00:00Z");
  assert.deepEqual(once.entry.entry, { finished_at: "2013-05-01T13:00:00Z", at: "2013-05-01T09:00:00Z" }, "what was typed stays");
  assert.deepEqual(frozen(once, 7_200_000), once);
  assert.equal(record.entry.at, "2013-05-01T13:00:00Z");
  assert.equal(frozen(record, 20_000).entry.at, record.entry.at);
});

test("a count goes tree by tree and back by any tap", () => {
  const taps = [
    { do: "type", text: "1" }, { do: "type", text: "12" }, { do: "next" }, { do: "step", by: 1 }, { do: "step", by: 1 },
    { do: "next" }, { do: "type", text: "7" },
  ];
  let state = taps.reduce(after, begun());
  assert.deepEqual(numbers(state), [12, 2, 7]);
  assert.deepEqual(after(state, { do: "next" }).trees, [12, 2, 7]);
  state = after(state, { do: "drop", tree: 0 });
  assert.deepEqual(numbers(state), [2, 7]);
  state = after(state, { do: "undo" });
  assert.deepEqual(numbers(state), [12, 2, 7]);
  for (let tap = 0; tap < 20; tap += 1) state = after(state, { do: "undo" });
  assert.deepEqual(state, begun());
  assert.deepEqual(after(begun(), { do: "next" }), begun(), "nothing typed is no tree");
  assert.equal(after(begun(), { do: "step", by: -1 }).typed, "0");
  assert.deepEqual(numbers(after(begun(), { do: "type", text: "1x" })), []);
});

const field = (name, as, text, more = {}) => ({ name, as, text, label: name, needed: false, clock: null, ...more });
const form = (more) => ({
  what: "open-count", kind: "open-count", title: "Open flowers", of: null, before: null, id: "i-1",
  now: Date.parse("2013-05-01T15:00:30Z"), zone: ZONE, by: "Gus", fields: [], ...more,
});

test("a form makes its entry", () => {
  const came = made(form({ fields: [
    field("open_per_tree", "counts", "41 66", { needed: true }), field("wood", "text", ""),
    field("at", "moment", "2013-05-01T11:00", { clock: Date.parse("2013-05-01T15:00:10.700Z") }),
  ] }));
  assert.deepEqual(came.entry, { id: "i-1", kind: "open-count", open_per_tree: [41, 66], at: "2013-05-01T15:00:10Z", by: "Gus" });
  assert.deepEqual(came.clocked, ["at"]);
  assert.equal(came.told, "Open flowers 41 66");
  assert.equal(made(form({ fields: [field("x", "counts", " ", { needed: true })] })).wrong.key, "phone.missing");
  assert.deepEqual(made(form({ fields: [field("x", "counts", "4 z")] })).wrong.places, { piece: "z" });
});

test("the rest of a spray corrects its draft and leaves its begin", () => {
  const before = { id: "s1", kind: "spray", at: "2013-05-01T14:00:00Z", material: "lime-sulfur", received_at: "x", reentry_hours: 48, by: "Nils" };
  const came = made(form({ kind: "spray", what: "spray-rest", of: "s1", before, fields: [
    field("of", "entry", "s1"), field("finished_at", "moment", "2013-05-01T11:00"), field("reentry_hours", "decimal", ""),
  ] }));
  assert.deepEqual(came.entry, { id: "i-1", kind: "correction", at: "2013-05-01T15:00:30Z", of: "s1", by: "Gus", entry: {
    kind: "spray", at: "2013-05-01T14:00:00Z", material: "lime-sulfur", finished_at: "2013-05-01T15:00:00Z", reentry_hours: 48, by: "Nils" } });
  assert.deepEqual(came.clocked, ["at"]);
  assert.equal(before.id, "s1");
});

test("only records of ours are taken from a file", () => {
  const record = { id: "a", block: "b", told: "t", year: 2013, entry: { id: "a" }, clocked: [], made: 1 };
  assert.ok(isRecord(record));
  for (const bad of [null, {}, { ...record, year: "2013" }, { ...record, entry: { id: "c" } }]) assert.ok(!isRecord(bad));
});

test("a refused entry is shown as its form would have it", () => {
  assert.equal(shown("moment", "2013-05-02T00:20:00Z", ZONE), "2013-05-01T20:20");
  assert.equal(shown("percent", 0.07, ZONE), "7");
  assert.deepEqual(read("percent", shown("percent", 0.005, ZONE)), { value: 0.005 });
  assert.equal(shown("counts", [41, 66], ZONE), "41 66");
  assert.equal(shown("either", false, ZONE), "false");
  assert.equal(shown("text", undefined, ZONE), "");
  const entry = { kind: "note", text: "wet" };
  assert.equal(said({ id: "c", kind: "correction", of: "a", entry }), entry);
  assert.equal(said(entry), entry);
});

test("the begin of a spray is put right in what is added to it", () => {
  const before = { kind: "spray", at: "2013-05-01T17:00:00Z", material: "lime-sulfur" };
  const rest = form({ kind: "spray", what: "spray-rest", of: "s1", before, begun: true, fields: [
    field("finished_at", "moment", "", { clock: Date.parse("2013-05-01T17:40:00Z") }),
  ] });
  const came = made(rest);
  assert.deepEqual(came.clocked, ["entry/at", "entry/finished_at", "at"]);
  const sent = frozen({ entry: came.entry, clocked: came.clocked, tried: false }, 3_600_000);
  assert.equal(sent.entry.entry.at, "2013-05-01T16:00:00Z");
  assert.equal(sent.entry.entry.finished_at, "2013-05-01T16:40:00Z");
  assert.deepEqual(made({ ...rest, begun: false }).clocked, ["entry/finished_at", "at"]);
});

test("a spray closes its block until its re-entry, for pages that do not know of it", () => {
  const made_at = Date.parse("2013-05-01T15:00:00Z");
  const spray = { id: "s1", kind: "spray", at: "2013-05-01T14:00:00Z", material: "lime-sulfur", reentry_hours: 24 };
  const first = closing({ block: "b", entry: spray, made: made_at }, ZONE);
  assert.equal(first.until, Date.parse("2013-05-02T14:00:00Z"));
  const rest = { id: "c1", kind: "correction", of: "s1", at: "2013-05-01T15:30:00Z",
    entry: { ...spray, finished_at: "2013-05-01T15:00:00Z" } };
  const second = closing({ block: "b", entry: rest, made: made_at }, ZONE);
  assert.deepEqual([second.key, second.until], [first.key, Date.parse("2013-05-02T15:00:00Z")]);
  assert.equal(closing({ block: "b", entry: { id: "n", kind: "note" }, made: made_at }, ZONE), null);
  const unknown = closing({ block: "b", entry: { ...spray, reentry_hours: undefined }, made: made_at }, ZONE);
  assert.equal(unknown.until, null);

  const now = made_at + 3_600_000;
  const old = { waiting: new Set(), page: made_at - 1, now };
  assert.equal(holding([second], old).get("b"), second, "the page is older than the spray");
  assert.equal(holding([second], { ...old, page: made_at + 1 }).size, 0, "the page knows of it");
  assert.equal(holding([second], { ...old, page: made_at + 1, waiting: new Set(["c1"]) }).size, 1, "it waits here");
  assert.equal(holding([second], { ...old, now: second.until }).size, 0, "it is over");
  assert.equal(holding([unknown], old).get("b"), unknown);
  assert.equal(holding([first, second], old).get("b"), second, "the longest holds");
});
