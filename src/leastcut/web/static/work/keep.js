// What only a secure context allows: keeping the screen on, and this page through a reload without
// the shop. Everywhere else it is said plainly what to do instead.

import { _ } from "./words.js";

/** Keep the screen on while this page is in front; say in `place` whether that works. */
export function keepAwake(place) {
  if (!("wakeLock" in navigator)) {
    place.textContent = _("This connection does not let a page keep the screen on. In the phone's own settings, under display, choose the longest time until the screen goes dark; set it back after the work.");
    return;
  }
  let lock = null;
  const take = async () => {
    if (document.hidden || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock.request("screen");
      place.textContent = _("The screen stays on while this page is in front.");
    } catch {
      place.textContent = _("The phone does not keep the screen on now, perhaps to save its battery. Tap now and then, or choose a longer time in its display settings.");
    }
  };
  document.addEventListener("visibilitychange", take);
  take();
}

/** Keep this page for a reload without the shop, where that is allowed; say what holds. */
export async function keepPage(place) {
  if (!("serviceWorker" in navigator)) {
    place.textContent = _("If the shop's computer goes away, go on: this page keeps every tap and sends it later. Only do not close or reload it meanwhile; over this connection it could not come back before the shop does.");
    return;
  }
  try {
    const given = await navigator.serviceWorker.register("/work-sw.js", { scope: location.pathname });
    const worker = given.active ?? (await active(given));
    const own = performance.getEntriesByType("resource").map((one) => one.name);
    const urls = own.filter((url) => url.startsWith(`${location.origin}/static/`) || url.startsWith(`${location.origin}/fonts/`));
    const way = new MessageChannel();
    const kept = new Promise((done) => (way.port1.onmessage = (event) => done(event.data)));
    worker.postMessage({ keep: [location.pathname, ...new Set(urls)] }, [way.port2]);
    if (!(await kept)) throw new Error("not kept");
    place.textContent = _("If the shop's computer goes away, go on: this page keeps every tap, sends it later, and comes back after a reload too.");
    place.dataset.kept = "yes";
  } catch {
    place.textContent = _("If the shop's computer goes away, go on: this page keeps every tap and sends it later. Only do not close or reload it meanwhile; over this connection it could not come back before the shop does.");
  }
}

function active(given) {
  const worker = given.installing ?? given.waiting;
  return new Promise((done, failed) => {
    worker.addEventListener("statechange", () => {
      if (worker.state === "activated") done(worker);
      if (worker.state === "redundant") failed(new Error("redundant"));
    });
  });
}
