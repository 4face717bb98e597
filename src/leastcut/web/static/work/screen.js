// The work screen: one page that holds everything and lives on when the shop's computer goes away.

import { ask, h } from "./ask.js";
import { keepAwake, keepPage } from "./keep.js";
import { newKey } from "./log.js";
import { Pace } from "./pace.js";
import { Sync } from "./sync.js";
import { Standing } from "./standing.js";
import { reasons, valueWords, View } from "./view.js";
import { _, speak } from "./words.js";

// A wet glove taps twice where one tap was meant; no set is this short.
const BOUNCE_MS = 350;

const at = (id) => document.getElementById(id);
const carried = JSON.parse(at("carried").textContent);

class Screen extends Standing {
  async open() {
    await this.log.open(this.bundle.facts);
    const shelved = this.log.get("bundle");
    const same = shelved && shelved.lang === this.bundle.lang && shelved.units === this.bundle.units;
    if (same && shelved.now_s > this.bundle.now_s) this.bundle = shelved;
    else await this.log.put("bundle", { ...this.bundle, facts: [] });
    this.sync = new Sync(this.log, this.bundle.visit, this.bundle.me.csrf);
    this.sync.conflicts = carried.bundle.conflicts;
    this.sync.planHead = carried.bundle.plan_head;
    this.pace = new Pace((stroke, count) => this.stroke(stroke, count));
    this.rework();
    this.chosen = this.begin();
    this.view = new View(this);
    this.log.onchange(() => this.changed());
    this.sync.onstate = () => this.reached();
    at("work").hidden = false;
    this.changed();
    this.listen();
    setInterval(() => this.tick(), 1000);
    keepAwake(at("awake"));
    keepPage(at("offline"));
    this.sync.soon(0);
  }

  changed() {
    this.rework();
    this.view.show();
    this.pace.from(this.walkSince());
    if (this.log.waiting.length) this.sync.soon();
  }

  /** When this set began, by performance.now() [s]: at the start or the last set done since. */
  walkSince() {
    const work = this.mine();
    if (!work || work.panel !== this.piece.panel || work.section !== this.piece.id) return this.shownSince ?? null;
    const sets = this.events.filter((e) => e.kind === "set-done" && e.panel === work.panel && e.section === work.section && e.at_s >= work.since_s);
    const began = Math.max(work.since_s, ...sets.map((e) => e.at_s));
    if (this.began?.at !== began) this.began = { at: began, since: performance.now() / 1000 - Math.max(0, this.clock() - began) };
    return this.began.since;
  }

  tick() {
    this.view.clock();
    this.view.net();
    if (this.mine()) this.view.now(this.piece, this.standing(this.piece));
  }

  stroke(stroke, count) {
    at("stroke").textContent = stroke < 0 ? "" : _("Stroke {number} of {n}", { number: stroke + 1, n: count });
  }

  /** Say something to who does not look; a counter, not the running seconds. */
  heard(words) {
    if (!words) return;
    // What one tap brings about is said in one breath: the later words would cut off the earlier.
    const breath = performance.now() - (this.saidAt ?? -Infinity) < 1000;
    this.saidAt = performance.now();
    at("said").textContent = breath ? `${at("said").textContent}. ${words}` : words;
  }

  async reached() {
    this.view.net();
    this.view.alerts();
    if (this.sync.state === "here" && this.sync.planHead !== this.bundle.plan_head && this.asked !== this.sync.planHead) {
      this.asked = this.sync.planHead;
      const answer = await fetch(`/api/visits/${this.bundle.visit}/work`, { cache: "no-store" }).catch(() => null);
      const fresh = answer?.ok ? await answer.json() : null;
      if (!fresh) this.asked = null;
      else if (fresh.plan === this.bundle.plan) await this.adopt(fresh);
      else this.newer = fresh;
      this.view.alerts();
    }
  }

  async adopt(fresh) {
    this.bundle = fresh;
    this.newer = null;
    await this.log.put("bundle", { ...fresh, facts: [] });
  }

  // What a tap does

  /** Taps one after the other: each is on the disk before the next is looked at. */
  act(work) {
    this.busy = this.busy.then(work).catch((error) => this.heard(String(error?.message ?? error)));
    return this.busy;
  }

  /** Record events as one tap. */
  async record(...bodies) {
    const key = newKey();
    const keys = bodies.map((body, i) => (i ? `${key}-${i}` : key));
    const facts = bodies.map((body, i) => {
      const at_s = Math.max(this.clock(), (this.lastAt ?? 0) + 0.001);
      this.lastAt = at_s;
      return { key: keys[i], kind: "add", field: "event", body: { ...body, at_s }, made_s: at_s };
    });
    await this.log.put("own", [...this.log.get("own", []), ...keys].slice(-60));
    await this.log.add(facts);
    navigator.vibrate?.(30);
  }

  async start() {
    const { piece } = this;
    if (!(await this.dayRead())) return;
    const others = this.workersOn(piece);
    const panel = this.panel(piece.panel);
    const body = [
      h("p", {}, _("Lay the pad flat on the paint before the machine runs: a pad that spins in the air throws liquid and catches edges.")),
      ...(others.length ? [h("p", { class: "warn" }, _("Being worked by {who}.", { who: others.join(", ") }))] : []),
      this.view.cautions(piece, panel),
    ];
    const answer = await ask(_("Is the pad on the paint?"), body, [
      { value: "yes", label: _("On the paint: start"), main: true },
      { value: "no", label: _("Not yet") },
    ]);
    if (answer !== "yes") return;
    const process = this.process();
    this.heard(_("Started: {process}", { process }));
    await this.record({ kind: "started", ...this.here(), process, by: this.bundle.me.by });
  }

  /** Once a day, before the first start: what holds for the whole job. */
  async dayRead() {
    const today = new Date().toDateString();
    if (this.log.get("read") === today || !this.bundle.cautions.length) return true;
    const list = h("ul", { class: "heed" }, ...this.bundle.cautions.map((one) => h("li", {}, h("b", {}, `${one.what}.`), ` ${one.do}.`)));
    const answer = await ask(_("Before the first start today"), [list], [
      { value: "read", label: _("Read"), main: true },
      { value: "no", label: _("Not yet") },
    ]);
    if (answer === "read") await this.log.put("read", today);
    return answer === "read";
  }

  async setDone() {
    const work = this.mine();
    if (!work) return;
    const standing = this.standing(this.piece);
    const event = { kind: "set-done", ...this.here(), process: work.process };
    const n = (standing.done[work.process] ?? 0) + 1;
    this.heard(_("Set {done} of {n} done", { done: n, n: standing.planned[work.process] ?? 0 }));
    if (this.lastSet(standing, work.process)) await this.record(event, { kind: "stopped", by: work.by });
    else await this.record(event);
  }

  async stop() {
    if (this.mine()) await this.record({ kind: "stopped", by: this.bundle.me.by });
    this.heard(_("Stopped"));
  }

  async skip() {
    const note = h("textarea", { id: "skip-note", maxlength: 400, rows: 2 });
    const body = [h("label", { for: "skip-note" }, _("A remark, if it needs one")), note];
    const answers = [...reasons().map(([value, label]) => ({ value, label })), { value: "", label: _("Do not leave it out") }];
    const reason = await ask(_("Why leave it out?"), body, answers);
    if (!reason) return;
    const words = note.value.trim();
    await this.record({ kind: "skipped", ...this.here(), reason, ...(words ? { note: words } : {}) });
    this.go(this.following(this.piece));
  }

  /** Another reason for a section left out: a field set, so that two opinions are seen as such. */
  async reason() {
    const skip = this.state.skips.get(JSON.stringify([this.piece.panel, this.piece.id]));
    const answers = [...reasons().map(([value, label]) => ({ value, label })), { value: "", label: _("As it was") }];
    const reason = skip && (await ask(_("Why leave it out?"), [], answers));
    if (!reason) return;
    const field = `event/${skip.id}.reason`;
    const base = [...this.log.facts.values()].filter((fact) => fact.field === field).reduce((newest, fact) => Math.max(newest, fact.id), 0);
    await this.set(field, reason, base || null);
  }

  set(field, body, base) {
    return this.log.add([{ key: newKey(), kind: "set", field, body, base, made_s: this.clock() }]);
  }

  async undo() {
    const tap = this.lastTap();
    if (!tap) return;
    const drops = tap.events.map((event) => ({ key: newKey(), kind: "drop", field: `event/${event.id}`, made_s: this.clock() }));
    await this.log.add(drops);
    this.heard(_("Taken back: {what}", { what: tap.words }));
  }

  go(piece) {
    if (!piece) return;
    this.chosen = `${piece.panel}/${piece.id}`;
    this.picked = null;
    this.shownSince = null;
    this.log.put("chosen", this.chosen);
    at("show-pace").setAttribute("aria-pressed", "false");
    this.changed();
    at("where").focus({ preventScroll: true });
    scrollTo({ top: 0 });
  }

  async settle([verb, field, id]) {
    if (verb === "reason") await this.reason();
    if (verb === "wiped") await this.record({ kind: verb, panel: field, section: id });
    if (verb === "pad-cleaned" || verb === "pad-changed") await this.record({ kind: verb, process: field });
    if (verb === "renew") await this.renew();
    if (verb === "forget") await this.log.forget(this.log.refused);
    if (verb === "stay") {
      const leave = this.state.at_work.filter((w) => `${w.panel}/${w.section}` === field && w.by !== id);
      if (leave.length) await this.record(...leave.map((w) => ({ kind: "stopped", by: w.by })));
    }
    if (verb === "decide") {
      const conflict = this.sync.conflicts.find((one) => one.field === field);
      const chosen = conflict.values.find(([number]) => number === id);
      this.decided.add(`${conflict.field} ${conflict.base}`);
      this.heard(_("Decided: {value}", { value: valueWords(chosen[1]) }));
      await this.set(field, chosen[1], conflict.base);
    }
  }

  async renew() {
    await this.adopt(this.newer);
    this.rework();
    this.view.carry();
    this.changed();
  }

  listen() {
    const taps = {
      start: () => this.start(), set: () => this.setDone(), stop: () => this.stop(), skip: () => this.skip(), undo: () => this.undo(),
      wiped: () => this.record({ kind: "wiped", ...this.here() }),
      cleaned: () => this.record({ kind: "pad-cleaned", process: this.process() }),
      fresh: () => this.record({ kind: "pad-changed", process: this.process() }),
      next: () => this.go(this.following(this.piece)),
    };
    for (const [id, work] of Object.entries(taps)) {
      let before = -BOUNCE_MS;
      at(id).addEventListener("click", (event) => {
        if (event.timeStamp - before < BOUNCE_MS) return;
        before = event.timeStamp;
        this.act(work);
      });
    }
    at("step-list").addEventListener("change", (event) => {
      this.picked = event.target.value;
      this.changed();
    });
    at("work").addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (button?.dataset.do) this.act(() => this.settle(JSON.parse(button.dataset.do)));
      if (button?.dataset.go) this.go(this.at(button.dataset.go));
    });
    at("all").addEventListener("toggle", () => this.view.list(this.state));
    at("show-pace").addEventListener("click", () => this.pressed("show-pace", (on) => {
      this.shownSince = on ? performance.now() / 1000 : null;
      this.pace.from(this.walkSince());
    }));
    at("tick").addEventListener("click", () => this.pressed("tick", (on) => this.pace.listen(on)));
    addEventListener("beforeunload", (event) => {
      const comesBack = at("offline").dataset.kept === "yes";
      if (this.sync.state === "away" && !comesBack) event.preventDefault();
    });
  }

  pressed(id, then) {
    const on = at(id).getAttribute("aria-pressed") !== "true";
    at(id).setAttribute("aria-pressed", String(on));
    then(on);
  }
}

speak(carried.words);
new Screen(carried.bundle, Boolean(at("work").dataset.write)).open();
