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
  const button = (words, label, step) =>
    element("button", { type: "button", class: "step", "aria-label": say(label), onmousedown: stay, onclick: by(step) }, words);
  const label = field.closest("label");
  field.setAttribute("aria-label", label.firstChild.textContent.trim());
  label.after(element("div", { class: "steps" }, button("−", "phone.minus", -1), field, button("+", "phone.plus", 1)));
}
