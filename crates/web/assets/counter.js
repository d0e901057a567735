// The counting screen of a form: large steps, a number pad, the next tree, the way back.
import { after, begun, numbers, typedNumber } from "./counting.js";
import { element } from "./elements.js";
import { mean, pieces, whole } from "./numbers.js";
import { say } from "./words.js";

/**
 * Puts the screen in the place of a field of numbers. The field stays, hidden, and holds
 * what the form sends.
 * @param {HTMLTextAreaElement} field
 * @param {() => void} tapped after each tap
 */
export function counter(field, tapped) {
  let state = begun();
  const label = field.closest("label");
  const pad = element("input", {
    type: "text", inputmode: "numeric", autocomplete: "off", enterkeyhint: "next", class: "pad",
    "aria-label": label.firstChild.textContent.trim(),
  });
  // Buttons leave the pad open: whoever types goes on typing.
  const stay = (event) => event.preventDefault();
  const button = (words, kind, tap, more = {}) =>
    element("button", { type: "button", class: kind, onmousedown: stay, onclick: () => act(tap), ...more }, words);
  const which = element("p", { class: "which", "aria-live": "polite" });
  /** What a step came to, for who does not see the pad. */
  const heard = element("p", { class: "unseen", role: "status" });
  const list = element("ol", { class: "trees" });
  const out = element("details", { hidden: true }, element("summary", {}, say("phone.trees")), list);
  const sum = element("p", {});
  const wrong = element("p", { class: "wrong", role: "alert", hidden: true });
  const undo = button(say("phone.undo"), "plain", { do: "undo" });
  const screen = element("fieldset", { class: "counter" }, element("legend", {}, label.firstChild.textContent.trim()),
    which,
    element("div", { class: "steps" },
      button("−", "step", { do: "step", by: -1 }, { "aria-label": say("phone.minus") }), pad,
      button("+", "step", { do: "step", by: 1 }, { "aria-label": say("phone.plus") })),
    heard, wrong,
    button(say("phone.next"), "next", { do: "next" }), undo, sum, out);

  function act(tap) {
    wrong.hidden = true;
    if (tap.do === "next" && typedNumber(state) === null) {
      if (state.typed.trim() !== "") {
        wrong.textContent = say("phone.no_number", { piece: state.typed });
        wrong.hidden = false;
      }
      pad.focus();
      return;
    }
    state = after(state, tap);
    draw();
    tapped();
    if (tap.do === "step") heard.textContent = state.typed;
    if (tap.do === "drop") heard.textContent = say("phone.dropped");
    // What was pressed is gone or pressed for the last time: the focus would be nowhere.
    if (tap.do === "next" || tap.do === "drop" || (tap.do === "undo" && undo.disabled)) pad.focus();
  }

  function draw() {
    if (pad.value !== state.typed) pad.value = state.typed;
    const all = numbers(state);
    // A number that cannot be read stays in what is sent, so that it is told.
    field.value = [...state.trees, state.typed.trim()].join(" ").trim();
    which.textContent = say("phone.tree", { n: state.trees.length + 1 });
    undo.disabled = state.before.length === 0;
    const middle = mean(all);
    sum.textContent = middle === null ? say("phone.no_trees") : `${say("phone.mean", { n: all.length, mean: middle.toFixed(1) })}: ${all.join(", ")}`;
    out.hidden = state.trees.length === 0;
    list.replaceChildren(...state.trees.map((number, tree) => element("li", {}, String(number), " ",
      element("button", { type: "button", class: "plain drop", onclick: () => act({ do: "drop", tree }),
        "aria-label": say("phone.drop", { n: tree + 1 }) }, "×"))));
  }

  pad.addEventListener("input", () => act({ do: "type", text: pad.value }));
  pad.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    act({ do: "next" });
  });
  label.hidden = true;
  field.required = false;
  label.before(screen);
  return {
    /** @returns {import("./counting.js").Counting} */
    state: () => state,
    /** Begins from a kept state, or from what stands in the field. */
    begin(kept) {
      state = kept ?? begun(pieces(field.defaultValue).map(whole).filter((number) => number !== null));
      draw();
    },
  };
}
