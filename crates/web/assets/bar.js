// What waits on this phone, on every page: how many, since when, and why.
import { all, discard, get, inside } from "./base.js";
import { isOff } from "./clock.js";
import { element } from "./elements.js";
import { taken, written } from "./file.js";
import { send } from "./sending.js";
import { say } from "./words.js";

/** @param {any} data what the page tells */
export function bar(data) {
  // Built once: what is rewritten under a finger or a screen reader is lost to it.
  const off = element("p", { hidden: true });
  const count = element("strong");
  const reason = element("span");
  const list = element("ul", { class: "plain-list" });
  const details = element("details", {}, element("summary", {}, say("phone.show")), list,
    element("button", { type: "button", class: "plain", onclick: save }, say("phone.save_file")));
  const waiting = element("div", { hidden: true },
    element("p", { role: "status" }, count, " ", reason),
    element("button", { type: "button", class: "plain", onclick: () => go() }, say("phone.send")), details);
  const place = element("aside", { id: "bar", hidden: true, "aria-label": say("phone.bar") }, off, waiting);
  document.querySelector("main").before(place);
  let how = "none";
  const before = { reason: "", list: "" };

  const text = (at, words) => {
    if (at.textContent !== words) at.textContent = words;
  };

  async function draw() {
    const records = (await all("outbox").catch(() => [])).sort((a, b) => a.made - b.made);
    const clock = (await get("kept", "ahead").catch(() => null))?.ms;
    off.hidden = !isOff(clock);
    if (!off.hidden) text(off, say(clock > 0 ? "phone.clock_ahead" : "phone.clock_behind", { apart: apart(Math.abs(clock)) }));
    place.hidden = records.length === 0 && off.hidden;
    waiting.hidden = records.length === 0;
    if (waiting.hidden) return;
    text(count, say(records.length === 1 ? "phone.waits" : "phone.wait", { n: records.length, age: apart(Date.now() - records[0].made) }));
    const whose = JSON.stringify([how, records.map((record) => record.person)]);
    if (whose !== before.reason) reason.replaceChildren(...why(records));
    before.reason = whose;
    const told = JSON.stringify(records.map(({ id, outcome, said }) => [id, outcome, said]));
    if (told === before.list) return;
    list.replaceChildren(...records.map(item));
    if (records.some((record) => record.outcome)) details.open = true;
    before.list = told;
  }

  function why(records) {
    const link = (href, words) => element("a", { href }, words);
    if (how === "signed-out") return [say("phone.signed_out"), " ", link("/sign-in", say("phone.sign_in"))];
    if (how === "other-person") {
      const me = data?.person?.id;
      if (!me) return [say("phone.other_person"), " ", link("/today", say("phone.open_today"))];
      const mine = () => inside(["outbox"], "readwrite", (at) => {
        for (const record of records) if (record.person !== me) at.outbox.put({ ...record, person: me });
      }).then(go);
      return [say("phone.other_person"), " ", element("button", { type: "button", class: "plain", onclick: mine }, say("phone.as_mine"))];
    }
    const words = { offline: "phone.offline", failed: "phone.failed" }[how];
    return words ? [say(words)] : [];
  }

  function item(record) {
    const head = `${record.block_name ?? record.block}: ${record.told}, ${new Date(record.made).toLocaleString()}`;
    const parts = [element("span", {}, head)];
    if (record.outcome) {
      parts.push(element("p", { class: "wrong" }, record.said ?? ""));
      const mend = new URLSearchParams({ block: record.block, what: record.what ?? "", mend: record.id });
      parts.push(element("a", { href: `/log?${mend}` }, say("phone.mend")));
      parts.push(element("button", { type: "button", class: "plain", onclick: () => {
        if (confirm(say("phone.sure"))) inside(["outbox", "kept"], "readwrite", (at) => discard(at, record.id)).then(draw);
      } }, say("phone.take_out")));
    }
    return element("li", {}, ...parts);
  }

  async function save() {
    const file = new Blob([await written()], { type: "application/json" });
    const link = element("a", { href: URL.createObjectURL(file), download: `bloomtide-${new Date().toISOString().slice(0, 10)}.json` });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  }

  /** Sends what waits, and tells what became of it. */
  async function go() {
    const came = await send(data !== null).catch(() => ({ how: "failed" }));
    how = came.how;
    await draw();
  }

  return { draw, go };
}

/** The control that takes entries from a file. @param {() => void} done */
export function fromFile(done) {
  const said = element("p", { role: "status" });
  const field = element("input", { type: "file", accept: "application/json,.json", onchange: async () => {
    const file = field.files?.[0];
    if (!file) return;
    const fresh = await taken(await file.text()).catch(() => null);
    said.textContent = fresh === null ? say("phone.no_file") : say("phone.from_file", { n: fresh });
    field.value = "";
    done();
  } });
  return element("details", {}, element("summary", {}, say("phone.read_file")), element("label", {}, say("phone.file"), " ", field), said);
}

/** How long, in the largest unit that says it. @param {number} ms */
export function apart(ms) {
  const minutes = Math.round(ms / 60_000);
  if (minutes < 1) return say("phone.now");
  if (minutes < 120) return say("phone.minutes", { n: minutes });
  const hours = Math.round(minutes / 60);
  return hours < 72 ? say("phone.hours", { n: hours }) : say("phone.days", { n: Math.round(hours / 24) });
}
