// What a phone keeps of the kitchen: presses that wait for network, where each batch stood last, and the pages.
// Everything is marked with whose it is; somebody else's is wiped before anything is shown or sent.
(() => {
  "use strict";
  const said = { ...document.body.dataset, ...document.currentScript.dataset };
  const ABSENT = { presses: new Map(), states: new Map(), marks: new Map() }; // of a browser without a store
  let next = 1;

  function promised(request) {
    return new Promise((ok, no) => {
      request.onsuccess = () => ok(request.result);
      request.onerror = () => no(request.error);
    });
  }

  function opened() {
    const request = indexedDB.open("kitchen", 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("presses", { keyPath: "seq", autoIncrement: true });
      request.result.createObjectStore("states");
      request.result.createObjectStore("marks");
    };
    return promised(request).catch(() => null);
  }

  const database = window.indexedDB ? opened() : Promise.resolve(null);

  async function within(name, mode, act, absent) {
    const open = await database;
    if (!open) return absent(ABSENT[name]);
    const change = open.transaction(name, mode, { durability: "strict" });
    const whole = new Promise((ok, no) => {
      change.oncomplete = ok;
      change.onabort = change.onerror = () => no(change.error);
    });
    const found = await promised(act(change.objectStore(name)));
    if (mode === "readwrite") await whole;
    return found;
  }

  const get = (name, key) => within(name, "readonly", (store) => store.get(key), (map) => map.get(key));
  const put = (name, key, value) =>
    within(name, "readwrite", (store) => store.put(value, key), (map) => void map.set(key, value));
  const clear = (name) => within(name, "readwrite", (store) => store.clear(), (map) => map.clear());

  // Resolves to false where the browser has no store, and the press lives as long as this page.
  async function keep(press) {
    const open = await database;
    await within("presses", "readwrite", (store) => store.add(press), (map) => void map.set(next, { ...press, seq: next++ }));
    return Boolean(open);
  }

  async function waiting(lot) {
    const all = await within("presses", "readonly", (store) => store.getAll(), (map) => [...map.values()]);
    return all.filter((press) => press.lot === lot);
  }

  const drop = (seq) => within("presses", "readwrite", (store) => store.delete(seq), (map) => void map.delete(seq));

  async function tellWorker(message) {
    if (!navigator.serviceWorker) return;
    const worker = (await navigator.serviceWorker.ready).active;
    await new Promise((ok) => {
      const channel = new MessageChannel();
      channel.port1.onmessage = ok;
      worker.postMessage(message, [channel.port2]);
    });
  }

  async function forgetPages() {
    await clear("states");
    if (window.caches) await caches.delete("kitchen-1");
  }

  async function begin() {
    const whose = await get("marks", "whose");
    if (whose !== undefined && whose !== said.store) {
      await clear("presses");
      await forgetPages();
    }
    await put("marks", "whose", said.store);
  }

  function files() {
    const parts = document.querySelectorAll("link[rel=stylesheet], link[rel=icon], script[src]");
    return [...parts].map((part) => part.href || part.src);
  }

  // The pages of the batches under way, and what they are drawn with.
  async function keepPages(pages, only) {
    if (!navigator.serviceWorker) return;
    await navigator.serviceWorker.register(said.worker, { scope: "/", updateViaCache: "none" });
    await tellWorker({ pages, files: files(), only });
    document.documentElement.dataset.kept = "yes";
  }

  const ready = begin();
  window.kitchen = { ready, get, put, keep, waiting, drop, forgetPages, keepPages };

  // The page of a batch names what of it is kept; the list of those under way, that nothing else is.
  const pages = (said.pages || "").split(" ").filter(Boolean);
  if (pages.length) ready.then(() => keepPages(pages, said.only === "yes")).catch(() => {});
})();
