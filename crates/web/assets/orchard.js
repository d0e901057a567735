// Begins what the page's scripts do. Without them every page works all the same, where
// there is signal.
import { bar, fromFile } from "./bar.js";
import { told } from "./elements.js";
import { keep, later } from "./offline.js";
import { learn } from "./words.js";
import { start } from "./writing.js";

await learn(document.documentElement.lang);
const data = told();
const waiting = bar(data);
const go = () => waiting.go();
await waiting.draw();
addEventListener("online", go);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") go();
});
setInterval(() => waiting.draw(), 60_000);
const saved = async () => {
  await waiting.draw();
  await go();
  later().catch(() => {});
};
if (document.body.classList.contains("of-log") && data) {
  document.querySelector("main").append(fromFile(saved));
  await start(data, saved);
}
document.documentElement.dataset.ready = "";
go();
keep(data).catch(() => {});
