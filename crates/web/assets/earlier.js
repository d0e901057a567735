// Earlier entries of the running season, as the page keeps them: to be put right where
// there is no signal, of any block.
import { element } from "./elements.js";

const section = () => document.getElementById("earlier");

/**
 * The list of a block whose entries the page does not show by itself.
 * @param {any} facts the block
 * @param {boolean} shown whether the page shows them
 */
export function offer(facts, shown) {
  const { correct, takeBack } = section().dataset;
  section().hidden = !shown && facts.earlier.length === 0;
  section().querySelectorAll("ul, p").forEach((part) => { part.hidden = !shown && !part.dataset.kept; });
  section().querySelector("[data-kept]")?.remove();
  if (shown) return;
  const link = (what, of, words) => element("a", { href: `/log?${new URLSearchParams({ block: facts.id, year: facts.year, what, of })}` }, words);
  section().append(element("ul", { class: "plain-list", "data-kept": true }, ...facts.earlier.map((one) => element("li", { class: "keep" },
    element("span", {}, one.told), " ", link(one.what, one.id, correct), " ", link("withdrawal", one.id, takeBack)))));
}

/** Entries that a form to take one back can be about. @param {HTMLSelectElement} select @param {any[]} earlier */
export function choices(select, earlier) {
  select.replaceChildren(...earlier.map((one) => element("option", { value: one.id }, one.told)));
}

/**
 * Lays out the form of a kept entry as the server would: what stands there, and that it
 * is corrected. What the page tells is changed to that.
 * @param {any} data what the page tells
 * @param {string} block
 * @param {string} what
 * @param {string} of the entry
 * @returns {boolean} whether the entry is kept
 */
export function layOut(data, block, what, of) {
  const one = data.blocks.find((facts) => facts.id === block)?.earlier.find((entry) => entry.id === of);
  const form = document.getElementById(`form-${what}`);
  if (!one || !form || (what !== "withdrawal" && what !== one.what)) return false;
  data.chosen = { block, what, of };
  if (what === "withdrawal") return true;
  data.entry = one.entry;
  for (const field of form.querySelectorAll("[data-as]")) {
    field.value = one.values[field.name] ?? "";
    // As if the page had come with it: a form begins from that.
    if (field.options) [...field.options].forEach((option) => { option.defaultSelected = option.selected; });
    else field.defaultValue = field.value;
  }
  form.querySelector("h2").after(element("input", { type: "hidden", name: "of", value: of }),
    element("p", { class: "done" }, section().dataset.correcting));
  return true;
}
