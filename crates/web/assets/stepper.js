// A number on its own between two large steps.
import { element } from "./elements.js";
import { whole } from "./numbers.js";
import { say } from "./words.js";

/** @param {HTMLInputElement} field */
export function stepper(field) {
  const stay = (event) => event.preventDefault();
  const by = (step) => () => {
    field.value = String(Math.max(0, (whole(field.value.trim()) ?? 0) + step));
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const label = field.closest("label");
  const name = label.firstChild.textContent.trim();
  const button = (words, key, step) => element("button",
    { type: "button", class: "step", "aria-label": say(key, { field: name }), onmousedown: stay, onclick: by(step) }, words);
  field.setAttribute("aria-label", name);
  label.after(element("div", { class: "steps" }, button("−", "phone.minus_of", -1), field, button("+", "phone.plus_of", 1)));
}
