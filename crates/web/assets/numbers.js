// Numbers as people type them: comma or point, parted by blanks, lines or semicolons.

/** @param {string} text @returns {string[]} */
export function pieces(text) {
  return text.split(/[\s;]+/).map((piece) => piece.replace(/,+$/, "")).filter((piece) => piece !== "");
}

/** @param {string} text @returns {number | null} a whole number, or null where it is none */
export function whole(text) {
  return /^[+-]?\d+$/.test(text) && Number.isSafeInteger(Number(text)) ? Number(text) : null;
}

/** @param {string} text @returns {number | null} */
export function decimal(text) {
  const plain = text.replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
}

/**
 * A field's text as its entry has it.
 * @param {string} as how the field is typed
 * @param {string} text not empty
 * @returns {{value: any} | {wrong: string}} the piece that cannot be read stands in `wrong`
 */
export function read(as, text) {
  const list = (one) => {
    const values = [];
    for (const piece of pieces(text)) {
      const value = one(piece);
      if (value === null) return { wrong: piece };
      values.push(value);
    }
    return { value: values };
  };
  const single = (value) => (value === null ? { wrong: text } : { value });
  switch (as) {
    case "counts":
    case "wholes":
      return list(whole);
    case "decimals":
      return list(decimal);
    case "whole":
      return single(whole(text));
    case "decimal":
      return single(decimal(text));
    case "percent": {
      const share = decimal(text.replace(/\s*%$/, ""));
      return single(share === null ? null : share / 100);
    }
    case "either":
      return { value: text === "true" };
    default:
      return { value: text };
  }
}

/** The mean, or null of nothing. @param {number[]} numbers */
export function mean(numbers) {
  return numbers.length ? numbers.reduce((sum, one) => sum + one, 0) / numbers.length : null;
}
