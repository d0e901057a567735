// Elements made by hand: no markup is ever put together from text.

/**
 * @param {string} name
 * @param {Record<string, any>} facts attributes; what begins with `on` is listened to
 * @param {...(Node | string)} inner
 */
export function element(name, facts = {}, ...inner) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(facts)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...inner);
  return made;
}

/** What the page tells the script. */
export function told() {
  const text = document.getElementById("orchard")?.textContent;
  return text ? JSON.parse(text) : null;
}
