// The work screen: one page that holds everything and lives on when the shop's computer goes away.

import { ask, h } from "./ask.js";
import { crowded, eventsOf, fold, missing } from "./fold.js";
import { keepAwake, keepPage } from "./keep.js";
import { Log, newKey } from "./log.js";
import { Pace } from "./pace.js";
import { Sync } from "./sync.js";
import { reasons, valueWords, View } from "./view.js";
import { _, speak } from "./words.js";

// A wet glove taps twice where one tap was meant; no set is this short.
const BOUNCE_MS = 350;

const at = (id) => document.getElementById(id);
const carried = JSON.parse(at("carried").textContent);

class Screen {
  constructor(bundle) {
    this.log = new Log(bundle.visit);
    this.writes = Boolean(at("work").dataset.write);
    this.bundle = bundle;
    this.newer = null;
    this.decided = new Set();
    this.busy = Promise.resolve();
  }

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
    this.chosen = this.log.get("chosen");
    this.rework();
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

  // Where things stand

  get pieces() {
    return this.bundle.sections.filter((piece) => piece.steps.length);
  }

  get piece() {
    const of = (place) => this.bundle.sections.find((s) => `${s.panel}/${s.id}` === place);
    return of(this.chosen) ?? this.following(null) ?? this.pieces[0];
  }

  panel(id) {
    return this.bundle.panels.find((panel) => panel.id === id) ?? { id, name: id, outline: [], keep_off: [], lines: [], cautions: [] };
  }

  standing(piece) {
    return this.byPlace.get(`${piece.panel}/${piece.id}`);
  }

  mine() {
    return this.state.at_work.find((work) => work.by === this.bundle.me.by) ?? null;
  }

  workersOn({ panel, id }) {
    return this.state.at_work.filter((w) => w.panel === panel && w.section === id).map((w) => this.nameOf(w.by));
  }

  /** The process in hand: the one being worked, the one picked, else the first with sets to do. */
  process() {
    const { piece } = this;
    const standing = this.standing(piece);
    const work = this.mine();
    if (work && work.panel === piece.panel && work.section === piece.id) return work.process;
    if (this.picked && this.picked in standing.planned) return this.picked;
    return missing(standing)[0]?.[0] ?? piece.steps[0]?.process ?? "";
  }

  tool() {
    return this.bundle.tools.find((tool) => tool.label === this.process());
  }

  /** The next section to work after one: not done, not left out, nobody else on it. */
  following(piece) {
    const start = piece ? this.bundle.sections.indexOf(piece) + 1 : 0;
    const order = [...this.bundle.sections.slice(start), ...this.bundle.sections.slice(0, start)];
    return order.find((s) => s !== piece && ["waiting", "paused"].includes(this.standing(s)?.status)) ?? null;
  }

  /** Unix seconds by the shop's clock. */
  clock() {
    return Date.now() / 1000 + (this.sync?.offset ?? this.log.get("offset", 0));
  }

  minutesToday() {
    const midnight = new Date();
    midnight.setHours(0, 0, 0, 0);
    const since = midnight / 1000 + (this.sync?.offset ?? 0);
    const work = this.mine();
    const open = work ? [{ by: work.by, from_s: work.since_s, to_s: this.clock() }] : [];
    return [...this.state.stretches, ...open]
      .filter((s) => s.by === this.bundle.me.by)
      .reduce((sum, s) => sum + Math.max(0, s.to_s - Math.max(s.from_s, since)) / 60, 0);
  }

  nameOf(by) {
    const { me } = this.bundle;
    if (by === me.by) return _("You");
    const facts = [...this.log.facts.values()];
    const person = facts.findLast((fact) => fact.body?.by === by && fact.person)?.person;
    if (person && person !== me.person) return person;
    return person ? _("another device of {person}", { person }) : _("somebody else");
  }

  fieldWords(field) {
    const event = /^event\/([\w-]+)\.reason$/.exec(field);
    const skip = event && this.events.find((one) => one.id === event[1]);
    return skip ? _("why section {section} of {panel} was left out", { section: skip.section, panel: this.panel(skip.panel).name }) : field;
  }

  crowds() {
    return crowded(this.state);
  }

  conflicts() {
    return this.sync.conflicts.filter((conflict) => !this.decided.has(`${conflict.field} ${conflict.base}`));
  }

  words(fact) {
    const body = fact.body ?? {};
    const kind = {
      "started": _("start"), "stopped": _("stop"), "set-done": _("set done"), "wiped": _("wiped bare"),
      "skipped": _("left out"), "pad-changed": _("fresh pad"), "pad-cleaned": _("pad cleaned"),
    }[body.kind];
    return kind ?? (fact.kind === "drop" ? _("undo") : _("choice"));
  }

  /** This device's last tap that can be taken back; two events of one tap go together. */
  lastTap() {
    const own = this.events.filter((event) => this.log.get("own", []).includes(event.id));
    const last = own.at(-1);
    if (!last) return null;
    const stem = last.id.split("-")[0];
    const events = own.filter((event) => event.id.split("-")[0] === stem);
    return { events, words: this.words({ body: events[0] }) };
  }

  rework() {
    this.events = eventsOf(this.log.facts.values(), this.log.outbox.filter((row) => !row.refused).map((row) => row.fact));
    this.state = fold(this.events, this.bundle.sections);
    this.byPlace = new Map(this.state.sections.map((s) => [`${s.panel}/${s.id}`, s]));
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
    if (words) at("said").textContent = words;
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

  here() {
    return { panel: this.piece.panel, section: this.piece.id };
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

  /** Whether the set being worked is the last one planned with its process here. */
  lastSet(standing, process) {
    return (standing.planned[process] ?? 0) - (standing.done[process] ?? 0) === 1;
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
      if (button?.dataset.go) this.go(this.bundle.sections.find((s) => `${s.panel}/${s.id}` === button.dataset.go));
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
new Screen(carried.bundle).open();
