// What this phone keeps, until it is sent or let go of; DEVELOPERS.md says what, how long and why.
const STORES = { stops: "id", drafts: "key", outbox: "id", photos: "id", notes: "key" };
let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("keyround", 1);
    asked.onupgradeneeded = () => {
      for (const [name, keyPath] of Object.entries(STORES)) asked.result.createObjectStore(name, { keyPath });
    };
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const forget = () => { opened = null; };
      asked.result.onclose = forget;
      asked.result.onversionchange = () => { asked.result.close(); forget(); };
      resolve(asked.result);
    };
  });
  return opened;
}

// One transaction over some stores. It is over when everything lies on the disk: a battery may end at any moment.
async function within(names, mode, work) {
  const base = await open();
  return new Promise((resolve, reject) => {
    const change = base.transaction(names, mode, { durability: "strict" });
    const request = work((name) => change.objectStore(name));
    change.oncomplete = () => resolve(request?.result);
    change.onabort = () => reject(change.error ?? request?.error);
  });
}

export const get = (name, key) => within([name], "readonly", (store) => store(name).get(key));
export const all = (name) => within([name], "readonly", (store) => store(name).getAll());
export const put = (name, value) => within([name], "readwrite", (store) => store(name).put(value));
export const drop = (name, key) => within([name], "readwrite", (store) => store(name).delete(key));
export const change = (names, work) => within(names, "readwrite", work);

// Browsers clear what they like when space runs out, unless they were asked not to.
export const holdOn = () => navigator.storage?.persist?.();
