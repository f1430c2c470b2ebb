// Engines and photos of the day, on this phone only, so that a page put aside by the
// phone while it waits loses nothing. Where the browser keeps nothing, memory must do.
const DAY = 24 * 3600 * 1000;

function open() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open("telltale", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("items", { keyPath: "id" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

const base = open().catch(() => null);

async function act(mode, work) {
  const store = await base;
  if (store === null) return null;
  return new Promise((resolve) => {
    const transaction = store.transaction("items", mode);
    const request = work(transaction.objectStore("items"));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = transaction.onabort = () => resolve(null);
  });
}

export async function load() {
  const items = (await act("readonly", (items) => items.getAll())) || [];
  const old = items.filter((item) => Date.now() - item.when > DAY && !item.pending);
  for (const item of old) await drop(item.id);
  return items.filter((item) => !old.includes(item)).sort((a, b) => a.when - b.when);
}

export function save(item) {
  return act("readwrite", (items) => items.put(item));
}

export function drop(id) {
  return act("readwrite", (items) => items.delete(id));
}

export function clear() {
  return act("readwrite", (items) => items.clear());
}
