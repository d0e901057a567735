// Pages without signal: the worker that keeps them, the sign that it does, and on which
// phones they have to stand on the home screen.
import { element } from "./elements.js";
import { apart } from "./bar.js";
import { say } from "./words.js";

/** A page is taken to be of now for so long, ms. */
const FRESH = 3 * 60_000;

/** @param {any} data what the page tells */
export async function keep(data) {
  if (!("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("/worker.js", { scope: "/" });
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = ({ data: ready }) => sign(ready);
  // A page that is not kept itself sees to it that the others are, once.
  active.postMessage({ do: "fill", once: !data?.person }, [port2]);
}

/** Less room than this is hardly any, bytes: the pages themselves take less than one. */
const SCARCE = 10_000_000;

/**
 * Says how old a page is that was kept: what has changed since is not on it.
 * @param {any} data what the page tells
 * @param {number} ahead how far the phone's clock is ahead, ms
 */
export function age(data, ahead) {
  const old = Date.now() - ahead - Date.parse(data?.now);
  if (!(old > FRESH)) return;
  const said = say("phone.kept", { age: apart(old) });
  const place = document.getElementById("kept-page") ?? element("p", { id: "kept-page", class: "wrong", role: "status" });
  if (place.textContent !== said) place.textContent = said;
  document.querySelector("h1").after(place);
}

/** On the day's page, whether all is kept. */
function sign(ready) {
  if (!document.body.classList.contains("of-today")) return;
  document.getElementById("ready")?.remove();
  const lines = [element("p", {}, say(ready ? "phone.ready" : "phone.not_ready"))];
  if (mayForget()) lines.push(element("p", { class: "small" }, say("phone.install")));
  document.querySelector("h1").after(element("div", { id: "ready", class: ready ? "done" : "wrong", role: "status" }, ...lines));
}

/** Browsers on iOS forget what a page kept after days, unless it is on the home screen. */
function mayForget() {
  const apple = /iPhone|iPad|iPod/.test(navigator.userAgent) || (navigator.platform === "MacIntel" && navigator.maxTouchPoints > 1);
  return apple && navigator.standalone !== true;
}

/** Says while there still is time that the phone has hardly any room for what is written. */
export async function room() {
  const { quota, usage } = (await navigator.storage?.estimate?.()) ?? {};
  const left = quota - usage;
  document.getElementById("room")?.remove();
  if (!(left < SCARCE)) return;
  const said = say("phone.nearly_full", { left: Math.max(0, Math.floor(left / 1_000_000)) });
  document.querySelector("h1").after(element("p", { id: "room", class: "wrong", role: "status" }, said));
}

/** Asks the browser to send later, where it can. */
export async function later() {
  const registration = await navigator.serviceWorker?.getRegistration();
  await registration?.sync?.register("entries");
}
