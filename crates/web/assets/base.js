// What the phone keeps: entries that wait (`outbox`), forms half filled (`drafts`), and
// a few facts (`kept`). Nothing in it ends by itself.

/** @type {Promise<IDBDatabase> | null} */
let opened = null;

function open() {
  opened ??= new Promise((done, fail) => {
    const asked = indexedDB.open("bloomtide", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("outbox", { keyPath: "id" });
      asked.result.createObjectStore("drafts", { keyPath: "key" });
      asked.result.createObjectStore("kept", { keyPath: "key" });
    };
    asked.onsuccess = () => {
      asked.result.onclose = () => { opened = null; };
      done(asked.result);
    };
    asked.onerror = () => { opened = null; fail(asked.error); };
  });
  return opened;
}

/**
 * One transaction: `work` gets its stores by name and a function that takes what it
 * gives in the end. Done when it is on disk.
 * @param {string[]} names
 * @param {IDBTransactionMode} mode
 * @param {(stores: Record<string, IDBObjectStore>, give: (value: any) => void) => void} work
 */
export async function inside(names, mode, work) {
  const base = await open();
  return new Promise((done, fail) => {
    const transaction = base.transaction(names, mode, { durability: "strict" });
    let given;
    transaction.oncomplete = () => done(given);
    transaction.onabort = () => fail(transaction.error);
    work(Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)])), (value) => { given = value; });
  });
}

/** @param {string} store @param {any} value */
export const put = (store, value) => inside([store], "readwrite", (at) => { at[store].put(value); });
/** @param {string} store @param {string} key */
export const remove = (store, key) => inside([store], "readwrite", (at) => { at[store].delete(key); });
/** @param {string} store @param {string} key */
export const get = (store, key) => inside([store], "readonly", (at, give) => {
  const asked = at[store].get(key);
  asked.onsuccess = () => give(asked.result);
});
/** @param {string} store */
export const all = (store) => inside([store], "readonly", (at, give) => {
  const asked = at[store].getAll();
  asked.onsuccess = () => give(asked.result);
});

/**
 * Takes an entry out that is on no server, with what the phone made of it.
 * @param {Record<string, IDBObjectStore>} at outbox and kept @param {string} id
 */
export function discard(at, id) {
  at.outbox.delete(id);
  at.kept.delete(`spray:${id}`);
  at.kept.delete(`closed:${id}`);
}
