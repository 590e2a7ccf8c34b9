// Every scan, from the moment it is made until somebody has seen what became of it. It lives in IndexedDB: a reload, an empty
// battery or a signing-out lose nothing.

const NAME = "rivetloft-scans";
const STORE = "scans";
const KEEP_SENT = 24 * 60 * 60 * 1000; // ms that a confirmed scan is still shown

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

/**
 * The scans kept in this browser. The `state` of one is "waiting" until the server has answered, then "done", "undone", or what
 * waits for a person: "refused", "unknown" (its code), "conflict".
 */
export class Outbox {
  #database;

  constructor(database) {
    this.#database = database;
  }

  /** Open the store, made if it isn't there. */
  static async open() {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      const store = request.result.createObjectStore(STORE, { keyPath: "seq", autoIncrement: true });
      store.createIndex("uuid", "uuid", { unique: true });
    };
    const database = await done(request);
    database.onversionchange = () => database.close();
    return new Outbox(database);
  }

  /** Keep a scan; resolves once it is on the disk. */
  async add(scan) {
    return this.#write((store) => store.add({ ...scan, state: "waiting", tried: false, answer: null }));
  }

  /** Every scan, oldest first. */
  async all() {
    return done(this.#database.transaction(STORE).objectStore(STORE).getAll());
  }

  /** The scan of a uuid, or undefined. */
  async find(uuid) {
    return done(this.#database.transaction(STORE).objectStore(STORE).index("uuid").get(uuid));
  }

  /** Write down that scans are being sent: from now on the server may have them, whether it answers or not. */
  async tried(uuids) {
    return this.#write(async (store) => {
      for (const uuid of uuids) {
        const row = await done(store.index("uuid").get(uuid));
        if (row && !row.tried) store.put({ ...row, tried: true });
      }
    });
  }

  /** Let a scan wait again. */
  async retry(uuid) {
    return this.#change(uuid, (row, store) => store.put({ ...row, state: "waiting", answer: null }));
  }

  /** Write down what became of a scan. One that was cleared meanwhile stays cleared. */
  async settle(uuid, state, answer) {
    return this.#change(uuid, (row, store) => store.put({ ...row, state, answer, settled: Date.now() }));
  }

  /** Take a scan out if `may` still says so of it; whether it did. */
  async remove(uuid, may = () => true) {
    return this.#change(uuid, (row, store) => may(row) && Boolean(store.delete(row.seq)));
  }

  /** Forget what was confirmed a day ago. */
  async prune(now = Date.now()) {
    const old = (await this.all()).filter((row) => ["done", "undone"].includes(row.state) && now - row.settled > KEEP_SENT);
    for (const row of old) await this.remove(row.uuid);
  }

  async #change(uuid, change) {
    return this.#write(async (store) => {
      const row = await done(store.index("uuid").get(uuid));
      return row ? change(row, store) : false;
    });
  }

  async #write(work) {
    const transaction = this.#database.transaction(STORE, "readwrite", { durability: "strict" });
    const finished = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error);
    });
    const result = await work(transaction.objectStore(STORE));
    await finished;
    return result;
  }
}
