// Begins what the page's scripts do. Without them every page works all the same, where
// there is signal.
import { bar, fromFile } from "./bar.js";
import { get } from "./base.js";
import { closedHere, shut } from "./closed.js";
import { told } from "./elements.js";
import { age, keep, later, room } from "./offline.js";
import { learn } from "./words.js";
import { start } from "./writing.js";

await learn(document.documentElement.lang);
const data = told();
const waiting = bar(data);
/** How much waits and how old the page is, told anew. */
const tell = async () => {
  await waiting.draw();
  const ahead = (await get("kept", "ahead").catch(() => null))?.ms ?? 0;
  age(data, ahead);
  if (document.body.classList.contains("of-today")) shut(await closedHere(data, ahead));
  if (data) await room().catch(() => {});
};
const go = () => waiting.go().then(tell);
const saved = async () => {
  await waiting.draw();
  await go();
  later().catch(() => {});
};
await tell();
if (document.body.classList.contains("of-log") && data) {
  document.querySelector("main").append(fromFile(saved));
  await start(data, saved);
}
document.documentElement.dataset.ready = "";
addEventListener("online", go);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") go();
});
setInterval(tell, 60_000);
go();
keep(data).catch(() => {});
