// The record on this device: facts that the shop has numbered, and the outbox of those that it has
// not. A tap counts once it is on the disk here; it leaves the outbox once the shop has it.

const NAME = "leastcut-work";
const VISIT = "visit";

function opened() {
  return new Promise((done, failed) => {
    const ask = indexedDB.open(NAME, 1);
    ask.onupgradeneeded = () => {
      const db = ask.result;
      db.createObjectStore("facts", { keyPath: [VISIT, "key"] }).createIndex(VISIT, VISIT);
      db.createObjectStore("outbox", { keyPath: "n", autoIncrement: true }).createIndex(VISIT, VISIT);
      db.createObjectStore("shelf", { keyPath: [VISIT, "name"] });
    };
    ask.onsuccess = () => done(ask.result);
    ask.onerror = () => failed(ask.error);
    ask.onblocked = () => failed(new Error("blocked"));
  });
}

const result = (ask) =>
  new Promise((done, failed) => {
    ask.onsuccess = () => done(ask.result);
    ask.onerror = () => failed(ask.error);
  });

/** A key for a fact: 80 random bits; getRandomValues works without a secure context. */
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(10));
  return "w" + Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

export class Log {
  constructor(visit) {
    this.visit = visit;
    this.db = null;
    this.facts = new Map();
    this.outbox = [];
    this.shelf = new Map();
    this.listeners = [];
    this.channel = "BroadcastChannel" in globalThis ? new BroadcastChannel(`${NAME}-${visit}`) : null;
    this.channel?.addEventListener("message", () => this.read().then(() => this.changed()));
  }

  /** False where the browser keeps nothing: what is tapped then lives in this page alone. */
  get kept() {
    return this.db !== null;
  }

  get waiting() {
    return this.outbox.filter((row) => !row.refused);
  }

  get refused() {
    return this.outbox.filter((row) => row.refused);
  }

  async open(given) {
    try {
      this.db = await opened();
      this.db.onversionchange = () => this.db.close();
      await this.read();
    } catch {
      this.db = null;
    }
    await this.take(given, []);
  }

  async read() {
    const all = this.db.transaction(["facts", "outbox", "shelf"], "readonly");
    const of = (store) => result(all.objectStore(store).index(VISIT).getAll(this.visit));
    const range = IDBKeyRange.bound([this.visit, ""], [this.visit, "\uffff"]);
    const [facts, outbox, shelf] = await Promise.all([of("facts"), of("outbox"), result(all.objectStore("shelf").getAll(range))]);
    this.facts = new Map(facts.map((row) => [row.key, row.fact]));
    this.outbox = outbox;
    this.shelf = new Map(shelf.map((row) => [row.name, row.value]));
  }

  onchange(listener) {
    this.listeners.push(listener);
  }

  changed() {
    for (const listener of this.listeners) listener();
  }

  /** Write on this device's disk; the returned promise ends when it is there. */
  write(work) {
    if (!this.db) return Promise.resolve();
    return new Promise((done, failed) => {
      const all = this.db.transaction(["facts", "outbox", "shelf"], "readwrite", { durability: "strict" });
      work(all);
      all.oncomplete = () => {
        this.channel?.postMessage("changed");
        done();
      };
      all.onerror = all.onabort = () => failed(all.error);
    });
  }

  /** Put facts into the outbox, all or none. */
  async add(facts) {
    const rows = facts.map((fact) => ({ visit: this.visit, fact }));
    const numbers = [];
    await this.write((all) => {
      for (const row of rows) {
        all.objectStore("outbox").add(row).onsuccess = (event) => numbers.push(event.target.result);
      }
    });
    rows.forEach((row, i) => (row.n = numbers[i] ?? Math.random()));
    this.outbox.push(...rows);
    this.changed();
  }

  /** Keep numbered facts; whatever of them waits in the outbox waits no longer. */
  async take(facts, refused) {
    const keys = new Set(facts.map((fact) => fact.key));
    const why = new Map(refused.map((one) => [one.key, one]));
    const gone = this.outbox.filter((row) => keys.has(row.fact.key));
    const bad = this.outbox.filter((row) => why.has(row.fact.key));
    if (!facts.length && !bad.length) return;
    await this.write((all) => {
      for (const fact of facts) all.objectStore("facts").put({ visit: this.visit, key: fact.key, fact });
      for (const row of gone) all.objectStore("outbox").delete(row.n);
      for (const row of bad) all.objectStore("outbox").put({ ...row, refused: why.get(row.fact.key) });
    });
    for (const fact of facts) this.facts.set(fact.key, fact);
    this.outbox = this.outbox.filter((row) => !keys.has(row.fact.key));
    for (const row of bad) row.refused = why.get(row.fact.key);
    this.changed();
  }

  /** Let go of facts that the shop will not have, once a person has read why. */
  async forget(rows) {
    await this.write((all) => rows.forEach((row) => all.objectStore("outbox").delete(row.n)));
    this.outbox = this.outbox.filter((row) => !rows.includes(row));
    this.changed();
  }

  async put(name, value) {
    this.shelf.set(name, value);
    await this.write((all) => all.objectStore("shelf").put({ visit: this.visit, name, value }));
  }

  get(name, otherwise = null) {
    return this.shelf.has(name) ? this.shelf.get(name) : otherwise;
  }
}
