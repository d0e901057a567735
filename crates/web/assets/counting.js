// A count tree by tree, as a pure state: what is typed, the trees so far, and the way
// back.

/** Taps that can be undone. */
const UNDO = 60;
const MOST = 100_000;

/** @typedef {{trees: number[], typed: string, before: {trees: number[], typed: string}[]}} Counting */

/** @param {number[]} trees @returns {Counting} */
export function begun(trees = []) {
  return { trees, typed: "", before: [] };
}

/** What is typed as a number; null where it is none. @param {Counting} state */
export function typedNumber(state) {
  const text = state.typed.trim();
  return /^\d{1,6}$/.test(text) && Number(text) <= MOST ? Number(text) : null;
}

/** All numbers, the one in the field with them. @param {Counting} state */
export function numbers(state) {
  const typed = typedNumber(state);
  return typed === null ? state.trees : [...state.trees, typed];
}

/**
 * The state after a tap.
 * @param {Counting} state
 * @param {{do: "type", text: string} | {do: "step", by: number} | {do: "next"} | {do: "undo"} | {do: "drop", tree: number}} tap
 * @returns {Counting}
 */
export function after(state, tap) {
  const { trees, typed } = state;
  const then = (next) => ({
    trees, typed, ...next, before: [...state.before, { trees, typed }].slice(-UNDO),
  });
  switch (tap.do) {
    case "type":
      return tap.text === typed ? state : then({ typed: tap.text });
    case "step": {
      const number = Math.min(MOST, Math.max(0, (typedNumber(state) ?? 0) + tap.by));
      return then({ typed: String(number) });
    }
    case "next": {
      const number = typedNumber(state);
      return number === null ? state : then({ trees: [...trees, number], typed: "" });
    }
    case "drop":
      return then({ trees: trees.filter((_, tree) => tree !== tap.tree) });
    case "undo": {
      const last = state.before.at(-1);
      return last ? { ...last, before: state.before.slice(0, -1) } : state;
    }
    default:
      return state;
  }
}
