// The words of the scripts, in the language of the page.

/** @type {Record<string, string>} */
let words = {};

/** Gets them. @param {string} lang */
export async function learn(lang) {
  words = (await import(`./words-${lang}.js`)).default;
}

/** @param {string} key @param {Record<string, any>} places */
export function say(key, places = {}) {
  const said = words[key] ?? key;
  return said.replace(/\{(\w+)\}/g, (place, name) => (name in places ? String(places[name]) : place));
}
