// The work screen through a reload without the shop: the network first, and what was kept when it
// does not answer soon. Nothing else of the workbench passes through here but looks and letters.

const SHELF = "leastcut-work-1";
const PATIENCE_MS = 3000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("message", (event) => {
  const kept = keep(event.data.keep).then(() => true, () => false);
  event.waitUntil(kept.then((well) => event.ports[0].postMessage(well)));
});

async function keep(urls) {
  const shelf = await caches.open(SHELF);
  await Promise.all(
    urls.map(async (url) => {
      const answer = await fetch(url, { cache: "no-cache", credentials: "same-origin" });
      if (!answer.ok || answer.redirected) throw new Error(url);
      await shelf.put(url, answer);
    }),
  );
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  const page = event.request.mode === "navigate" && /^\/v\/\d+\/work$/.test(url.pathname);
  const part = /^\/(static|fonts)\//.test(url.pathname);
  if (event.request.method === "GET" && url.origin === location.origin && (page || part)) {
    event.respondWith(networkFirst(event.request, url.pathname));
  }
});

async function networkFirst(request, path) {
  const shelf = await caches.open(SHELF);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok && !answer.redirected) await shelf.put(path, answer.clone());
    else if ([401, 403, 404].includes(answer.status)) await shelf.delete(path);
    if (answer.status < 500) return answer;
    return (await shelf.match(path, { ignoreVary: true })) ?? answer;
  } catch (error) {
    const kept = await shelf.match(path, { ignoreVary: true });
    if (kept) return kept;
    throw error;
  }
}
