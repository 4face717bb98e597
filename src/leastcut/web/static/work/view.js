// What the work screen shows, from where the work stands. Draws only what changed.

import { fill, h } from "./ask.js";
import { drawSection, drawSheet, swatch } from "./draw.js";
import { prompts } from "./fold.js";
import { _ } from "./words.js";

const at = (id) => document.getElementById(id);
const put = (id, text) => {
  if (at(id).textContent !== text) at(id).textContent = text;
};
const minutes = (seconds) => {
  const whole = Math.max(0, Math.round(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
};
const hour = (unix) => new Date(1000 * unix).toTimeString().slice(0, 5);

export const reasons = () => [
  ["hot", _("Too hot")],
  ["edge", _("Too near an edge")],
  ["budget", _("No clear coat to spare")],
  ["already-clean", _("Clean already")],
  ["damage", _("Damage found")],
  ["no-time", _("No time")],
  ["other", _("Something else")],
];

export function statusWords(status) {
  return {
    waiting: _("waiting"),
    working: _("being worked"),
    paused: _("begun"),
    done: _("done"),
    skipped: _("left out"),
  }[status];
}

/** Say a conflict's value as a person would. */
export function valueWords(value) {
  const reason = reasons().find(([key]) => key === value);
  if (reason) return reason[1];
  if (value === null || value === undefined) return _("nothing");
  return typeof value === "object" ? JSON.stringify(value) : String(value);
}

export class View {
  constructor(app) {
    this.app = app;
    this.drawn = "";
    this.carry();
  }

  /** Take up a new plan. */
  carry() {
    const { bundle } = this.app;
    this.sheet = drawSheet(bundle);
    at("sheet").replaceChildren(this.sheet.drawing);
    this.drawn = "";
  }

  show() {
    const { piece, state } = this.app;
    const panel = this.app.panel(piece.panel);
    put("where", _("{panel}, section {section}", { panel: panel.name, section: piece.id }));
    const number = this.app.pieces.indexOf(piece) + 1;
    put("which", number ? _("{number} of {all} to be worked", { number, all: this.app.pieces.length }) : _("Not to be worked"));
    this.section(piece, panel);
    this.steps(piece, this.app.standing(piece));
    this.now(piece, this.app.standing(piece));
    this.heed(piece, panel);
    this.dock(piece, this.app.standing(piece));
    this.whole(state);
    this.list(state);
    this.alerts();
    this.net();
    this.clock();
  }

  section(piece, panel) {
    const tool = this.app.tool();
    const key = `${this.app.bundle.plan} ${piece.panel} ${piece.id} ${tool?.label}`;
    if (key === this.drawn) return;
    this.drawn = key;
    const size = piece.says.at(-1)?.says ?? "";
    const title = _("Section {section} of {panel}, {size}, {n} stroke|Section {section} of {panel}, {size}, {n} strokes", { section: piece.id, panel: panel.name, size, n: piece.strokes.length });
    const shown = drawSection(piece, panel, tool?.pad_mm ?? 130, title);
    at("drawing").replaceChildren(shown.drawing);
    this.app.pace.show(shown, piece.strokes, tool?.arm_speed_mm_s ?? 60);
    fill(at("costs"), ...piece.says.flatMap((line) => [h("dt", {}, line.name), h("dd", {}, line.says)]));
    put("note", piece.note);
  }

  steps(piece, standing) {
    const chosen = this.app.process();
    at("steps").hidden = !piece.steps.length;
    fill(
      at("step-list"),
      ...Object.entries(standing.planned).map(([process, sets]) => {
        const words = _("{done} of {n} set|{done} of {n} sets", { done: standing.done[process] ?? 0, n: sets });
        return h("label", { class: "step" }, h("input", { type: "radio", name: "process", value: process, "data-id": process, checked: process === chosen }), h("span", {}, h("b", {}, process), h("small", {}, words)));
      }),
    );
    for (const input of at("step-list").querySelectorAll("input")) input.checked = input.value === chosen;
    const tool = this.app.tool();
    fill(at("settings"), ...(tool?.lines ?? []).flatMap((line) => [h("dt", {}, line.name), h("dd", {}, line.says)]));
  }

  /** What to do now: reminders about pads, wiping, time; vibration before it is too late. */
  now(piece, standing) {
    const mine = prompts(this.app.state, this.app.clock(), this.app.bundle.rules, (panel) => this.app.panel(panel).name);
    const here = (prompt) => !prompt.panel || (prompt.panel === piece.panel && prompt.section === piece.id);
    const asked = mine.filter((prompt) => prompt.do !== "next" && (here(prompt) || prompt.do === "wipe"));
    const lines = [...asked.slice(0, 4), ...this.shaken()];
    const skip = this.app.state.skips.get(JSON.stringify([piece.panel, piece.id]));
    if (skip) {
      const why = valueWords(skip.reason) + (skip.note ? ` (${skip.note})` : "");
      lines.unshift({ say: _("Left out: {why}", { why }), do: "skipped" });
    }
    const said = lines.map((line) => h("li", { class: `prompt ${line.do}` }, h("span", {}, line.say), this.answer(line)));
    if (fill(at("now"), said.length ? h("ul", { class: "prompts" }, ...said) : "")) this.app.heard(lines[0]?.say);
  }

  /** The button that answers a reminder, where a tap does. */
  answer(line) {
    const [what, label] = {
      "clean-pad": [["pad-cleaned", line.process], _("Pad cleaned")],
      "change-pad": [["pad-changed", line.process], _("Fresh pad on")],
      "wipe": [["wiped", line.panel, line.section], _("Wiped bare")],
      "skipped": [["reason"], _("Another reason")],
    }[line.do] ?? [];
    if (!what || !this.app.writes) return null;
    const words = JSON.stringify(what);
    return h("button", { type: "button", "data-do": words, "data-id": words }, label);
  }

  shaken() {
    const day = this.app.bundle.vibration;
    if (!day) return [];
    const used = this.app.minutesToday();
    const values = { used: used.toFixed(0), left: Math.max(0, day.to_action - used).toFixed(0) };
    if (used >= day.to_limit) return [{ do: "shake", say: _("Stop for today: {used} min with the machine reach the limit for vibration. Let somebody else go on.", values) }];
    if (used >= day.to_action) return [{ do: "shake", say: _("{used} min with the machine reach the action value for vibration: share the work or end it; keep the hands warm.", values) }];
    if (used >= 0.75 * day.to_action) return [{ do: "shake", say: _("{left} min with the machine are left until the action value for vibration.", values) }];
    return [];
  }

  /** Cautions of this section, where it is looked at and once more before it is started. */
  heed(piece, panel) {
    fill(at("heed"), this.cautions(piece, panel));
  }

  cautions(piece, panel) {
    const own = [];
    if (piece.thin) own.push([_("The clear coat gets thin here."), _("Not one set more than planned; stop early if it comes clean.")]);
    if (piece.edge) own.push([_("An edge runs along this section: paint is thinnest there."), _("Tape it, keep the pad flat and stop short of it.")]);
    if (piece.line) own.push([_("A body line runs through here: a pad cuts it faster."), _("Tape it, or pass it once, lightly, along its length.")]);
    for (const one of panel.cautions) own.push([`${one.what}.`, `${one.do}.`]);
    return own.length ? h("ul", { class: "heed" }, ...own.map(([what, act]) => h("li", {}, h("b", {}, what), " ", act))) : "";
  }

  dock(piece, standing) {
    const working = this.app.mine()?.section === piece.id && this.app.mine()?.panel === piece.panel;
    const [process] = [this.app.process()];
    const done = standing.done[process] ?? 0;
    const planned = standing.planned[process] ?? 0;
    put("count", process ? _("Set {done} of {n}", { done: Math.min(done + (working ? 1 : 0), Math.max(planned, done)), n: planned }) : "");
    at("start").hidden = working;
    at("set").hidden = at("stop").hidden = !working;
    put("start", standing.status === "paused" ? _("Go on") : _("Start"));
    put("set", this.app.lastSet(standing, process) ? _("Last set done") : _("Set done"));
    const frozen = !this.app.writes;
    at("start").disabled = frozen || !piece.steps.length;
    for (const id of ["set", "stop", "wiped", "cleaned", "fresh", "skip"]) at(id).disabled = frozen;
    at("wiped").disabled ||= !Object.keys(standing.done).length || standing.wiped;
    at("cleaned").disabled ||= !process;
    at("fresh").disabled ||= !process;
    at("skip").disabled ||= standing.status === "skipped" || !piece.steps.length;
    const last = this.app.lastTap();
    at("undo").hidden = frozen || !last;
    if (last) put("undo", _("Undo: {what}", { what: last.words }));
  }

  clock() {
    const standing = this.app.standing(this.app.piece);
    const open = this.app.state.at_work.filter((w) => w.panel === standing.panel && w.section === standing.id);
    const spent = standing.actual_s + open.reduce((sum, w) => sum + this.app.clock() - w.since_s, 0);
    put("clock", standing.planned_s ? _("{spent} of {planned} min", { spent: minutes(spent), planned: minutes(standing.planned_s) }) : "");
  }

  whole(state) {
    const worked = state.sections.filter((s) => Object.keys(s.planned).length);
    const counts = new Map();
    for (const s of worked) counts.set(s.status, (counts.get(s.status) ?? 0) + 1);
    const planned = worked.reduce((sum, s) => sum + s.planned_s, 0);
    const left = worked.filter((s) => s.status !== "done" && s.status !== "skipped").reduce((sum, s) => sum + Math.max(0, s.planned_s - s.actual_s), 0);
    const values = { done: counts.get("done") ?? 0, n: worked.length, left: (left / 60).toFixed(0), all: (planned / 60).toFixed(0) };
    const words = _("{done} of {n} section done; about {left} of {all} min on the paint are left.|{done} of {n} sections done; about {left} of {all} min on the paint are left.", values);
    put("progress", words);
    const { piece } = this.app;
    this.sheet.dress((place) => this.app.byPlace.get(place)?.status ?? "waiting", `${piece.panel}/${piece.id}`, words);
    const kinds = ["waiting", "working", "paused", "done", "skipped"].filter((kind) => counts.get(kind));
    fill(at("legend"), ...kinds.map((kind) => h("li", {}, swatch(kind, this.app.bundle.sheet[2]), `${statusWords(kind)}: ${counts.get(kind)}`)));
  }

  list(state) {
    if (!at("all").open) return;
    const groups = this.app.bundle.panels.map((panel) => {
      const own = state.sections.filter((s) => s.panel === panel.id && Object.keys(s.planned).length);
      const rows = own.map((s) => {
        const who = this.app.workersOn(s).join(", ");
        const steps = Object.entries(s.planned).map(([process, n]) => `${n} × ${process}`).join(", ");
        const words = s.status === "working" && who ? _("being worked by {who}", { who }) : statusWords(s.status);
        const current = s.panel === this.app.piece.panel && s.id === this.app.piece.id;
        return h("li", {}, h("button", { type: "button", class: `row ${s.status}`, "data-go": `${s.panel}/${s.id}`, "data-id": `${s.panel}/${s.id}`, "aria-current": current ? "true" : null }, h("b", {}, _("Section {section}", { section: s.id })), h("span", {}, words), h("small", {}, steps)));
      });
      return own.length ? [h("h3", {}, panel.name), h("ul", { class: "plain" }, ...rows)] : [];
    });
    fill(at("list"), ...groups.flat());
  }

  /** What a person must settle: contradictions, two on one section, entries not kept, a new plan. */
  alerts() {
    const cards = [
      ...this.app.crowds().map((crowd) => this.crowd(crowd)),
      ...this.app.conflicts().map((conflict) => this.conflict(conflict)),
      ...(this.app.log.refused.length ? [this.refused(this.app.log.refused)] : []),
      ...(this.app.newer ? [this.card(_("The plan was changed."), [], [[["renew"], _("Take the new plan")]])] : []),
      ...(this.app.log.kept ? [] : [this.card(_("This browser keeps nothing on the phone: what is not sent yet is lost when this page closes. Leave private browsing, or free some space."), [], [])]),
    ];
    if (fill(at("alerts"), ...cards) && cards.length) this.app.heard(cards[0].firstChild.textContent);
  }

  card(title, lines, answers) {
    const buttons = answers.map(([value, label]) => h("button", { type: "button", "data-do": JSON.stringify(value), "data-id": JSON.stringify(value) }, label));
    return h("div", { class: "settle" }, h("p", {}, h("b", {}, title)), ...lines.map((line) => h("p", {}, line)), h("div", { class: "answers" }, ...buttons));
  }

  crowd(there) {
    const [{ panel, section }] = there;
    const title = _("Two people are on section {section} of {panel}. Who works on it?", { section, panel: this.app.panel(panel).name });
    const lines = there.map((w) => _("{who}, since {time}", { who: this.app.nameOf(w.by), time: hour(w.since_s) }));
    const answers = there.map((w) => [["stay", `${panel}/${section}`, w.by], w.by === this.app.bundle.me.by ? _("I stay") : _("{who} stays", { who: this.app.nameOf(w.by) })]);
    return this.card(title, lines, this.app.writes ? answers : []);
  }

  conflict({ field, values }) {
    const title = _("Two people said different things about {field}. Which is right?", { field: this.app.fieldWords(field) });
    const lines = values.map(([, value, person, when]) => `${person || _("somebody")}, ${hour(when)}: ${valueWords(value)}`);
    if (!this.app.bundle.me.decides) lines.push(_("The owner or a detailer decides."));
    const answers = values.map(([id, value]) => [["decide", field, id], valueWords(value)]);
    return this.card(title, lines, this.app.bundle.me.decides ? answers : []);
  }

  refused(rows) {
    const title = _("{n} entry could not be kept by the shop:|{n} entries could not be kept by the shop:", { n: rows.length });
    const lines = rows.map((row) => `${this.app.words(row.fact)}: ${row.refused.why}. ${row.refused.do}.`);
    return this.card(title, lines, [[["forget"], _("Read; take it away")]]);
  }

  net() {
    const { sync, log } = this.app;
    const n = log.waiting.length;
    const kept = _("{n} tap kept here, not yet sent.|{n} taps kept here, not yet sent.", { n });
    const away = {
      here: n ? _("Sending {n} tap.|Sending {n} taps.", { n }) : _("All sent."),
      new: n ? kept : _("Asking the shop."),
      away: `${n ? kept : _("Nothing waits.")} ${sync.why || _("The shop's computer does not answer; go on, it is tried again by itself.")}`,
      unpaired: `${n ? kept : ""} ${_("This device is not paired with the shop any more: ask the owner for a code.")}`,
      gone: `${n ? kept : ""} ${_("The shop knows this visit no more.")}`,
    }[sync.state];
    put("net", away.trim());
    at("net").className = `net ${n || sync.state !== "here" ? "open" : "sent"}`;
    at("net").dataset.waiting = n;
    at("net").dataset.state = sync.state;
  }
}
