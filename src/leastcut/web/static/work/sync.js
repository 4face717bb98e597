// The outbox goes to the shop and others' facts come back. Sent again until the shop says that it has
// them; their keys make a repeat harmless. Away is a state like any other: wait longer, say so.

const AT_ONCE = 50;
const PATIENCE_MS = 8000;
const POLL_MS = 4000;
const HIDDEN_MS = 20000;
const LONGEST_MS = 30000;

export class Sync {
  constructor(log, visit, csrf) {
    Object.assign(this, { log, visit, csrf, conflicts: [], planHead: 0, offset: log.get("offset", 0) });
    this.state = "new"; // new, here, away, unpaired, gone
    this.why = "";
    this.failures = 0;
    this.timer = null;
    this.busy = false;
    this.again = false;
    this.onstate = () => {};
    addEventListener("online", () => this.soon(0));
    document.addEventListener("visibilitychange", () => document.hidden || this.soon(0));
  }

  get path() {
    return `/api/visits/${this.visit}/facts`;
  }

  /** Try soon: at once while the shop answers, a little later while it does not. */
  soon(wait = this.failures ? 1500 : 0) {
    if (this.busy) {
      this.again = true;
      return;
    }
    const at = performance.now() + wait;
    if (this.timer && this.due <= at) return;
    clearTimeout(this.timer);
    this.due = at;
    this.timer = setTimeout(() => this.round(), wait);
  }

  async round() {
    this.timer = null;
    this.busy = true;
    let wait;
    try {
      await this.send();
      await this.pull();
      this.failures = 0;
      this.become("here", "");
      wait = document.hidden ? HIDDEN_MS : POLL_MS;
    } catch (error) {
      this.failures += 1;
      const usual = Math.min(LONGEST_MS, 1000 * 2 ** (this.failures - 1));
      wait = Math.max(error.wait ?? 0, usual * (0.8 + 0.4 * Math.random()));
      this.become(error.state ?? "away", error.why ?? "");
    }
    this.busy = false;
    if (this.again && !this.failures) wait = 0;
    this.again = false;
    this.soon(wait);
  }

  become(state, why) {
    this.state = state;
    this.why = why;
    this.onstate();
  }

  async send() {
    for (let rows = this.next(); rows.length; rows = this.next()) {
      const told = await this.ask(this.path, { method: "POST", body: JSON.stringify(rows.map((row) => row.fact)) });
      const numbered = rows
        .filter((row) => row.fact.key in told.taken)
        .map((row) => ({ ...row.fact, id: told.taken[row.fact.key], at_s: Date.now() / 1000 + this.offset }));
      await this.log.take(numbered, told.refused ?? []);
      this.conflicts = told.conflicts;
      if (!numbered.length && !(told.refused ?? []).length) throw { why: "" };
    }
  }

  next() {
    return this.log.waiting.slice(0, AT_ONCE);
  }

  async pull() {
    const sent = Date.now() / 1000;
    const cursor = this.log.get("cursor", 0);
    const told = await this.ask(`${this.path}?after=${cursor}&of=event`, {});
    await this.setClock(told.now_s - (sent + Date.now() / 1000) / 2);
    await this.log.take(told.facts, []);
    if (told.head > cursor) await this.log.put("cursor", told.head);
    this.conflicts = told.conflicts;
    this.planHead = told.plan_head;
  }

  /** Devices put their taps in order by the shop's clock. */
  async setClock(offset) {
    if (Math.abs(offset - this.offset) < 0.5) return;
    this.offset = offset;
    await this.log.put("offset", offset);
  }

  async ask(path, options) {
    const headers = { "X-Leastcut-CSRF": this.csrf };
    if (options.body) headers["Content-Type"] = "application/json";
    const answer = await fetch(path, { ...options, headers, cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok) return answer.json();
    const wait = 1000 * Number(answer.headers.get("retry-after") ?? 0);
    const told = await answer.json().catch(() => ({}));
    const why = [told.why, told.do].filter(Boolean).join(". ");
    if (answer.status === 403 && options.body && (await this.renewToken())) throw { why: "", wait: 0 };
    const states = { 401: "unpaired", 403: "unpaired", 404: "gone" };
    throw { state: states[answer.status] ?? "away", why, wait };
  }

  /** The page may be older than the device's pairing: its token is then another. */
  async renewToken() {
    const answer = await fetch(`/api/visits/${this.visit}/work`, { cache: "no-store" });
    if (!answer.ok) return false;
    const { me } = await answer.json();
    const changed = me.csrf !== this.csrf;
    this.csrf = me.csrf;
    return changed;
  }
}
