// The page to write down on: forms that change in place, a draft kept at each tap, and
// a save that ends in the outbox whatever the signal is.
import { all, get, inside, put } from "./base.js";
import { counter } from "./counter.js";
import { element } from "./elements.js";
import { made } from "./entry.js";
import { stepper } from "./stepper.js";
import { uuid7 } from "./uuid.js";
import { toWall } from "./wall.js";
import { say } from "./words.js";

/** A spray that nobody finished is offered on this phone for so long, ms. */
const SPRAY_KEPT = 3 * 86_400_000;

/**
 * @param {any} data what the page tells
 * @param {() => void} saved after something was put into the outbox
 */
export async function start(data, saved) {
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
  const of = asked.get("of");
  if (of && of !== data.chosen.of && !mended) {
    document.querySelectorAll(".entry-form").forEach((form) => { form.hidden = true; });
    document.getElementById("choice").after(element("p", { class: "wrong", role: "alert" }, say("phone.needs_signal")));
    return;
  }
  const screens = new Map();
  for (const form of document.querySelectorAll(".entry-form")) screens.set(form.dataset.what, screen(form));
  const show = () => {
    for (const [name, one] of screens) if (name !== what.value) one.hide();
    const facts = data.blocks.find((one) => one.id === block.value);
    const closed = document.getElementById("closed");
    closed.textContent = facts?.closed ?? "";
    closed.hidden = !facts?.closed;
    document.getElementById("earlier").hidden = block.value !== data.chosen.block;
    screens.get(what.value)?.show(facts);
  };
  const chosen = () => {
    history.replaceState(null, "", `/log?${new URLSearchParams({ block: block.value, what: what.value })}`);
    document.getElementById("done")?.remove();
    show();
  };
  block.addEventListener("change", chosen);
  what.addEventListener("change", chosen);
  show();

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
      put("drafts", draft).catch(() => {
        if (full) return;
        full = true;
        tell("phone.full_draft");
      });
    }

    function tell(key, places) {
      wrong.textContent = say(key, places);
      wrong.hidden = false;
      wrong.scrollIntoView({ block: "nearest" });
    }

    /** What the clock gives where nobody typed a time; none for a time that is corrected. */
    function clock(field) {
      if (field.dataset.as !== "moment" || draft.typed[field.name] || correcting) return null;
      return field.name === "at" ? draft.begun ?? Date.now() : Date.now();
    }

    async function show(of) {
      facts = of;
      const key = [data.person?.id, facts.id, form.dataset.what, correcting, mended?.id].join("|");
      draft = null;
      form.querySelectorAll("input[name=block]").forEach((field) => { field.value = facts.id; });
      form.querySelectorAll("[data-zone]").forEach((place) => { place.textContent = facts.zone; });
      form.querySelector("[data-closed-work]")?.toggleAttribute("hidden", !(Date.parse(facts.closed_until) > Date.now()));
      form.querySelector("[data-before-spray]")?.replaceChildren(...facts.before_spray.map((said) => element("li", {}, said)));
      await sprays();
      const kept = await get("drafts", key).catch(() => undefined);
      const values = kept?.values ?? (mended ? values_of(mended) : null);
      draft = kept ?? { key, id: uuid7(), begun: null, typed: mended ? { at: true, finished_at: true } : {}, values: {}, counts: {} };
      for (const field of fields) {
        if (values && field.name in values) field.value = values[field.name];
        else if (field.dataset.as !== "entry" && (facts.id !== data.chosen.block || form.dataset.what !== data.chosen.what)) field.value = "";
        if (field.dataset.as === "moment" && !draft.typed[field.name] && !correcting) {
          field.value = toWall(draft.begun ?? Date.now(), facts.zone);
        }
      }
      for (const [name, one] of counters) {
        one.begin(kept?.counts?.[name] ?? (values?.[name] ? { trees: values[name].split(/\s+/).map(Number), typed: "", before: [] } : undefined));
      }
      const usual = kind === "return-bloom" ? facts.year - 1 : facts.year;
      form.elements.year.value = String(kept?.year ?? mended?.year ?? (correcting ? form.elements.year.value : usual));
      // What a form that is opened when wanted holds is not to be overlooked.
      for (const more of form.querySelectorAll("details")) {
        more.open ||= [...more.querySelectorAll("[data-as]")].some((field) => field.value !== "");
      }
      wrong.hidden = true;
      form.hidden = false;
    }

    /** Sprays without a finish: the server's, and those that wait on this phone. */
    async function sprays() {
      const select = form.querySelector("select[data-as=entry]");
      if (!select || kind === "withdrawal") return;
      const own = (await all("kept").catch(() => [])).filter((one) => one.key.startsWith("spray:")
        && one.block === facts.id && Date.now() - one.made < SPRAY_KEPT);
      const known = new Map(facts.drafts.map((one) => [one.id, one.entry]));
      own.filter((one) => !known.has(one.entry.id)).forEach((one) => known.set(one.entry.id, one.entry));
      draftsOf = known;
      select.replaceChildren(...[...known].map(([id, entry]) =>
        element("option", { value: id }, `${toWall(Date.parse(entry.at), facts.zone).replace("T", " ")} ${entry.material ?? ""}`)));
    }
    let draftsOf = new Map();

    async function save() {
      if (saving || !draft) return;
      saving = true;
      wrong.hidden = true;
      try {
        const entrySelect = form.querySelector("select[data-as=entry]");
        const about = correcting ?? entrySelect?.value ?? null;
        const before = kind === "withdrawal" ? null : correcting ? data.entry : draftsOf.get(about) ?? null;
        const came = made({
          what: form.dataset.what, kind, of: about || null, before, id: draft.id, now: Date.now(), zone: facts.zone,
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
          id: draft.id, person: data.person?.id ?? null, block: facts.id, block_name: facts.name,
          year: Number(form.elements.year.value), entry: came.entry, clocked: came.clocked, told: came.told,
          what: form.dataset.what, made: Date.now(), tried: false, outcome: null, said: null,
        };
        await inside(["outbox", "drafts", "kept"], "readwrite", (at) => {
          at.outbox.put(record);
          at.drafts.delete(draft.key);
          if (mended) at.outbox.delete(mended.id);
          if (record.what === "spray") at.kept.put({ key: `spray:${record.id}`, block: record.block, entry: record.entry, made: record.made });
          if (record.what === "spray-rest") at.kept.delete(`spray:${about}`);
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
      const again = element("button", { type: "button", class: "plain", onclick: () => location.assign(`/log?${new URLSearchParams({ block: facts.id, what: form.dataset.what })}`) }, say("phone.another"));
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

/** What a refused entry says, as its form would have it. */
function values_of(record) {
  const entry = record.entry.entry ?? record.entry;
  return Object.fromEntries(Object.entries(entry).map(([name, value]) => [name, Array.isArray(value) ? value.join(" ") : String(value)]));
}
