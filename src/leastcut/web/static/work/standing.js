// Where things stand for this device: the section in hand, who works on what, what may be taken back.

import { crowded, eventsOf, fold, missing } from "./fold.js";
import { Log } from "./log.js";
import { _ } from "./words.js";

export class Standing {
  constructor(bundle, writes) {
    this.log = new Log(bundle.visit);
    this.writes = writes;
    this.bundle = bundle;
    this.newer = null;
    this.decided = new Set();
    this.busy = Promise.resolve();
  }

  get pieces() {
    return this.bundle.sections.filter((piece) => piece.steps.length);
  }

  get piece() {
    return this.at(this.chosen) ?? this.pieces[0];
  }

  at(place) {
    return this.bundle.sections.find((s) => `${s.panel}/${s.id}` === place);
  }

  /** The section to open with: the one being worked here, the one last looked at, the next to do. */
  begin() {
    const work = this.mine();
    const last = this.log.get("chosen");
    const piece = this.following(null) ?? this.pieces[0];
    if (work) return `${work.panel}/${work.section}`;
    return this.at(last) ? last : `${piece.panel}/${piece.id}`;
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

  here() {
    return { panel: this.piece.panel, section: this.piece.id };
  }

  /** Whether the set being worked is the last one planned with its process here. */
  lastSet(standing, process) {
    return (standing.planned[process] ?? 0) - (standing.done[process] ?? 0) === 1;
  }
}
