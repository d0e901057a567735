// The page to write down on: forms that change in place, a draft kept at each tap, and
// a save that ends in the outbox whatever the signal is.
import { all, discard, get, inside, put, remove } from "./base.js";
import { isOff } from "./clock.js";
import { closedHere, closing, sentence } from "./closed.js";
import { counter } from "./counter.js";
import { choices, layOut, offer } from "./earlier.js";
import { element } from "./elements.js";
import { made } from "./entry.js";
import { stepper } from "./stepper.js";
import { uuid7 } from "./uuid.js";
import { initial, said, shown } from "./values.js";
import { toWall } from "./wall.js";
import { say } from "./words.js";

/** A spray that nobody finished is offered on this phone for so long, ms. */
const SPRAY_KEPT = 3 * 86_400_000;
/** A form begun longer ago says since when, ms. */
const BEGUN_LONG = 30 * 60_000;

/**
 * @param {any} data what the page tells
 * @param {() => void} saved after something was put into the outbox
 */
export async function start(data, saved) {
  const clockAhead = async () => {
    const known = await get("kept", "ahead").catch(() => null);
    return isOff(known?.ms) ? known.ms : 0;
  };
  /** An id that orders with those of other phones: of two corrections the later holds. */
  const newId = async () => uuid7(Date.now() - await clockAhead());
  const block = /** @type {HTMLSelectElement} */ (document.getElementById("block"));
  const what = /** @type {HTMLSelectElement} */ (document.getElementById("what"));
  if (!block) return;
  const asked = new URLSearchParams(location.search);
  const mend = asked.get("mend");
  const mended = mend ? await get("outbox", mend) : null;
  const choose = (select, value) => {
    if ([...select.options].some((option) => option.value === value)) select.value = value;
  };
  choose(block, mended?.block ?? asked.get("block"));
  choose(what, mended?.what ?? asked.get("what"));
  document.getElementById("choose").hidden = true;
  // The season of the address goes for its block alone, and not for what a kept page was of.
  let year = Number(mended?.year ?? asked.get("year")) || null;
  const of = asked.get("of");
  /** Block and season whose earlier entries the page came with. */
  const page = { block: data.chosen.block, year: data.chosen.year };
  if (of && of !== data.chosen.of && !mended && !layOut(data, block.value, what.value, of)) {
    document.querySelectorAll(".entry-form").forEach((form) => { form.hidden = true; });
    document.getElementById("choice").after(element("p", { class: "wrong", role: "alert" }, say("phone.needs_signal")));
    return;
  }
  const screens = new Map();
  for (const form of document.querySelectorAll(".entry-form")) screens.set(form.dataset.what, screen(form));
  const show = async () => {
    for (const [name, one] of screens) if (name !== what.value) one.hide();
    const facts = data.blocks.find((one) => one.id === block.value);
    const here = (await closedHere(data, await clockAhead())).get(facts.id);
    const closed = document.getElementById("closed");
    closed.textContent = here ? sentence(here) : facts.closed ?? "";
    closed.hidden = closed.textContent === "";
    const shut = Boolean(here) || Date.parse(facts.closed_until) > Date.now();
    offer(facts, isOfPage(facts));
    await screens.get(what.value)?.show(facts, shut);
  };
  /** Whether the entries on the page are those of the block and season that are written of. */
  const isOfPage = (facts) => facts.id === page.block && wantedYear(facts) === page.year;
  /** The season that is written of; of how trees bloom it is the one before. */
  const wantedYear = (facts) => year ?? (what.value === "return-bloom" ? facts.year - 1 : facts.year);
  const chosen = () => {
    const address = `/log?${new URLSearchParams({ block: block.value, what: what.value, ...(year ? { year } : {}) })}`;
    const facts = data.blocks.find((one) => one.id === block.value);
    // What is corrected belongs to one block and one form; all earlier entries of a season
    // stand on its own page.
    if (of || (what.value === "withdrawal" && navigator.onLine && !isOfPage(facts))) {
      location.assign(address);
      return;
    }
    history.replaceState(null, "", address);
    document.getElementById("done")?.remove();
    show();
  };
  block.addEventListener("change", () => { year = null; chosen(); });
  what.addEventListener("change", chosen);
  await show();

  /** One form with its draft. */
  function screen(form) {
    const kind = form.dataset.kind;
    const fields = [...form.querySelectorAll("[data-as]")];
    const counters = new Map(fields.filter((field) => field.dataset.as === "counts")
      .map((field) => [field.name, counter(field, () => touched())]));
    fields.filter((field) => field.dataset.as === "whole").forEach(stepper);
    const correcting = form.querySelector("input[name=of]")?.value ?? null;
    const wrong = element("p", { class: "wrong", role: "alert", hidden: true });
    const button = form.querySelector("button:not([type=button])");
    button.before(wrong);
    form.noValidate = true;
    let draft = null;
    let facts = null;
    let saving = false;
    let full = false;
    /** What a refused entry said, where this is the form to mend it in. */
    let mends = null;
    const list = form.querySelector("select[data-as=entry]");
    const listed = list ? [...list.options] : [];
    const since = element("p", { hidden: true });
    form.querySelector("h2").after(since);

    form.addEventListener("input", (event) => {
      if (event.target.classList.contains("pad")) return;
      if (event.target.dataset.as === "moment") draft.typed[event.target.name] = true;
      touched();
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      save();
    });

    /** A tap: the draft is kept as it now stands. */
    function touched() {
      if (!draft) return;
      draft.begun ??= Date.now();
      draft.year = form.elements.year.value;
      draft.values = Object.fromEntries(fields.map((field) => [field.name, field.value]));
      draft.counts = Object.fromEntries([...counters].map(([name, one]) => [name, one.state()]));
      if (isEmpty()) {
        // A stray tap that was taken back begins nothing.
        draft.begun = null;
        remove("drafts", draft.key).catch(() => {});
        return;
      }
      put("drafts", draft).catch(() => {
        if (full) return;
        full = true;
        tell("phone.full_draft");
      });
    }

    function isEmpty() {
      const plain = fields.filter((field) => !counters.has(field.name) && !["moment", "entry"].includes(field.dataset.as));
      const counted = [...counters.values()].some((one) => one.state().trees.length > 0 || one.state().typed.trim() !== "");
      return !counted && Object.keys(draft.typed).length === 0 && plain.every((field) => field.value.trim() === draft.first[field.name].trim());
    }

    /** Since when a form is half filled: what it says is written down for then. */
    function sinceWhen() {
      since.hidden = !(draft.begun && Date.now() - draft.begun > BEGUN_LONG && form.dataset.what !== "spray");
      if (since.hidden) return;
      const anew = () => remove("drafts", draft.key).then(() => show(facts, shut));
      since.replaceChildren(say("phone.begun", { when: toWall(draft.begun, facts.zone).replace("T", " ") }), " ",
        element("button", { type: "button", class: "plain", onclick: anew }, say("phone.anew")));
    }

    function tell(key, places) {
      wrong.textContent = say(key, places);
      wrong.hidden = false;
      wrong.scrollIntoView({ block: "nearest" });
    }

    /** What the clock gives where nobody typed a time; none for a time that is corrected. */
    function clock(field) {
      if (field.dataset.as !== "moment" || draft.typed[field.name] || correcting) return null;
      // A spray that is over was begun and finished when someone says.
      if (form.dataset.what === "spray-record") return null;
      // A spray begins with its tap, however early its material was typed.
      return field.name === "at" && form.dataset.what !== "spray" ? draft.begun ?? Date.now() : Date.now();
    }
    let shut = false;

    async function show(of, isShut) {
      facts = of;
      shut = isShut;
      mends = mended && mended.block === facts.id && mended.what === form.dataset.what ? mended : null;
      const key = [data.person?.id, facts.id, form.dataset.what, correcting, mends?.id].join("|");
      draft = null;
      form.querySelectorAll("input[name=block]").forEach((field) => { field.value = facts.id; });
      form.querySelectorAll("[data-zone]").forEach((place) => { place.textContent = facts.zone; });
      form.querySelector("[data-closed-work]")?.toggleAttribute("hidden", !shut);
      form.querySelector("[data-before-spray]")?.replaceChildren(...facts.before_spray.map((said) => element("li", {}, said)));
      await offered();
      const kept = await get("drafts", key).catch(() => undefined);
      const own = facts.id === data.chosen.block && form.dataset.what === data.chosen.what;
      const first = Object.fromEntries(fields.map((field) => [field.name,
        mends ? shown(field.dataset.as, said(mends.entry)[field.name], facts.zone) : own ? initial(field) : ""]));
      draft = kept ?? { key, id: await newId(), begun: null, typed: mends ? { at: true, finished_at: true } : {}, values: {}, counts: {} };
      draft.first = first;
      for (const field of fields.filter((field) => field.dataset.as !== "entry")) {
        field.value = kept?.values?.[field.name] ?? first[field.name];
        if (field.dataset.as === "moment" && !draft.typed[field.name] && !correcting) {
          const now = clock(field);
          field.value = now === null ? "" : toWall(now, facts.zone);
        }
      }
      if (list && kept?.values?.[list.name]) list.value = kept.values[list.name];
      for (const [name, one] of counters) {
        const text = first[name];
        one.begin(kept?.counts?.[name] ?? { trees: text ? text.split(/\s+/).map(Number) : [], typed: "", before: [] });
      }
      season(kept?.year);
      // What a form that is opened when wanted holds is not to be overlooked.
      for (const more of form.querySelectorAll("details")) {
        more.open ||= [...more.querySelectorAll("[data-as]")].some((field) => field.value !== "");
      }
      sinceWhen();
      wrong.hidden = true;
      form.hidden = false;
      if (kind === "withdrawal" && list.options.length === 0 && !isOfPage(facts)) tell("phone.needs_signal");
    }

    /** The season that is written of; another than the usual one stands in sight. */
    function season(kept) {
      const usual = kind === "return-bloom" ? facts.year - 1 : facts.year;
      const wanted = String(kept ?? wantedYear(facts));
      const select = form.elements.year;
      if (![...select.options].some((option) => option.value === wanted)) select.append(element("option", {}, wanted));
      select.value = wanted;
      if (wanted !== String(usual)) select.closest("details").open = true;
    }

    /** Entries that the form can be about: earlier ones of the season on the page, or
     * sprays without a finish, the server's and those that wait on this phone. */
    async function offered() {
      if (!list) return;
      const about = mends?.entry.of;
      if (kind === "withdrawal") {
        if (isOfPage(facts)) list.replaceChildren(...listed);
        else choices(list, wantedYear(facts) === facts.year ? facts.earlier : []);
        if (of && facts.id === data.chosen.block) list.value = of;
      } else {
        const own = (await all("kept").catch(() => [])).filter((one) => one.key.startsWith("spray:")
          && one.block === facts.id && Date.now() - one.made < SPRAY_KEPT);
        draftsOf = new Map(facts.drafts.map((one) => [one.id, { entry: one.entry, clocked: [] }]));
        own.filter((one) => !draftsOf.has(one.entry.id)).forEach((one) => draftsOf.set(one.entry.id, one));
        if (about) draftsOf.set(about, { entry: { ...mends.entry.entry }, clocked: [] });
        list.replaceChildren(...[...draftsOf].map(([id, { entry }]) =>
          element("option", { value: id }, `${toWall(Date.parse(entry.at), facts.zone).replace("T", " ")} ${entry.material ?? ""}`)));
      }
      if (!about) return;
      if (![...list.options].some((option) => option.value === about)) list.append(element("option", { value: about }, mends.told));
      list.value = about;
    }
    let draftsOf = new Map();

    async function save() {
      if (saving || !draft) return;
      saving = true;
      wrong.hidden = true;
      try {
        const about = correcting ?? mends?.entry.of ?? list?.value ?? null;
        const draftOf = draftsOf.get(about);
        const before = kind === "withdrawal" ? null : correcting ? data.entry : mends?.entry.entry ?? draftOf?.entry ?? null;
        // Of two corrections the one with the higher id holds: it is made when one is saved.
        const id = about ? await newId() : draft.id;
        const came = made({
          what: form.dataset.what, kind, of: about || null, before, id, now: Date.now(),
          begun: draftOf?.clocked.includes("at") ?? false, zone: facts.zone,
          title: form.querySelector("h2").textContent, by: data.person?.name ?? null,
          fields: fields.map((field) => ({
            name: field.name, as: field.dataset.as, text: field.value, clock: clock(field),
            needed: field.required || counters.has(field.name), label: labelOf(field),
          })),
        });
        if ("wrong" in came) {
          tell(came.wrong.key, came.wrong.places);
          return;
        }
        const record = {
          id, person: data.person?.id ?? null, block: facts.id, block_name: facts.name,
          year: Number(form.elements.year.value), entry: came.entry, clocked: came.clocked, told: came.told,
          what: form.dataset.what, made: Date.now(), tried: false, outcome: null, said: null,
          ahead: (await get("kept", "ahead").catch(() => null))?.ms ?? null,
        };
        const closes = closing(record, facts.zone);
        await inside(["outbox", "drafts", "kept"], "readwrite", (at) => {
          at.outbox.put(record);
          at.drafts.delete(draft.key);
          if (mends) discard(at, mends.id);
          if (record.what === "spray" && !about) {
            at.kept.put({ key: `spray:${id}`, block: record.block, entry: record.entry, clocked: record.clocked, made: record.made });
          }
          if (record.what === "spray-rest") at.kept.delete(`spray:${about}`);
          if (closes) at.kept.put(closes);
          if (kind === "withdrawal") {
            at.kept.delete(`spray:${about}`);
            at.kept.delete(`closed:${about}`);
          }
        });
        navigator.storage?.persist?.().catch(() => {});
        done();
        saved();
      } catch {
        tell("phone.full");
      } finally {
        saving = false;
      }
    }

    function done() {
      draft = null;
      form.hidden = true;
      const again = element("button", { type: "button", class: "plain", onclick: () => location.assign(`/log?${new URLSearchParams({ block: facts.id, what: form.dataset.what, ...(year ? { year } : {}) })}`) }, say("phone.another"));
      const told = element("div", { id: "done", class: "done", role: "status", tabindex: "-1" },
        element("p", {}, say("phone.saved")), again);
      document.getElementById("done")?.remove();
      form.before(told);
      told.focus();
    }

    return { show, hide: () => { form.hidden = true; draft = null; } };
  }
}

function labelOf(field) {
  return field.getAttribute("aria-label") ?? field.closest("label").firstChild.textContent.trim();
}
