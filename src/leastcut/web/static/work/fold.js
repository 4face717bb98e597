// Where the work stands, worked out from its record. The same rules as leastcut.job.visit and
// leastcut.work.runs, held to them by a test on random records.

import { _ } from "./words.js";

export const WHY = ["budget", "edge", "hot", "no-time", "already-clean", "damage", "other"];
const AT = ["panel", "section"];
const KINDS = {
  "started": [...AT, "process"],
  "stopped": [],
  "set-done": [...AT, "process"],
  "pad-changed": ["process"],
  "pad-cleaned": ["process"],
  "wiped": AT,
  "skipped": [...AT, "reason"],
};

const isText = (value) => typeof value === "string";

function valid(body) {
  const needed = body && Object.hasOwn(KINDS, body.kind) ? KINDS[body.kind] : null;
  if (!needed || typeof body.at_s !== "number" || !(body.at_s >= 0 && body.at_s < Infinity)) return false;
  if (!needed.every((name) => isText(body[name]))) return false;
  if (body.kind === "skipped") {
    return WHY.includes(body.reason) && (body.note === undefined || isText(body.note));
  }
  return !["started", "stopped"].includes(body.kind) || body.by === undefined || isText(body.by);
}

/** The events that hold: facts the shop has numbered in their order, then those not yet sent. */
export function eventsOf(numbered, waiting = []) {
  const items = new Map();
  const known = new Set();
  const seen = new Set();
  for (const fact of [...[...numbered].sort((a, b) => a.id - b.id), ...waiting]) {
    if (seen.has(fact.key)) continue;
    seen.add(fact.key);
    if (fact.kind === "add" && fact.field === "event") {
      const made = fact.made_s ?? fact.at_s;
      const body = { at_s: made, ...fact.body, id: fact.key };
      if (valid(body)) {
        items.set(fact.key, body);
        known.add(fact.key);
      }
    } else if (fact.field.startsWith("event/")) {
      change(items, known, fact);
    }
  }
  return [...items.values()];
}

function change(items, known, fact) {
  const rest = fact.field.slice("event/".length);
  const dot = rest.indexOf(".");
  const key = dot < 0 ? rest : rest.slice(0, dot);
  if (fact.kind === "drop") {
    if (known.has(key)) items.delete(key);
    return;
  }
  const leaf = dot < 0 ? "" : rest.slice(dot + 1);
  if (!items.has(key) || !leaf || fact.kind !== "set") return;
  const { [leaf]: old, ...changed } = items.get(key);
  if (fact.body !== null && fact.body !== undefined) changed[leaf] = fact.body;
  if (valid({ ...changed, id: key })) items.set(key, { ...changed, id: key });
}

const keyOf = (panel, section) => JSON.stringify([panel, section]);

/** Where the run stands; `stretches` (who worked from when to when) is the screen's own. */
export function fold(events, plan) {
  const held = {
    done: new Map(plan.map((s) => [keyOf(s.panel, s.id), {}])),
    seconds: new Map(), touched: new Map(), wiped: new Map(), skipped: new Map(),
    pads: {}, loaded: {}, atWork: new Map(), problems: [], stretches: [], skips: new Map(),
  };
  const once = [...new Map(events.map((event) => [event.id, event])).values()];
  once.sort((a, b) => a.at_s - b.at_s || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));
  for (const event of once) apply(held, event);
  const atWork = [...held.atWork.values()];
  const last = atWork.at(-1);
  return {
    sections: plan.map((s) => sectionOf(held, s)),
    pads: held.pads,
    loaded: held.loaded,
    now: last ? [last.panel, last.section, last.process] : null,
    since_s: last ? last.since_s : null,
    last_s: once.length ? once.at(-1).at_s : 0,
    problems: held.problems,
    at_work: atWork,
    stretches: held.stretches,
    skips: held.skips,
  };
}

function stop(held, by, at) {
  const work = held.atWork.get(by);
  if (!work) return;
  held.atWork.delete(by);
  const key = keyOf(work.panel, work.section);
  held.seconds.set(key, (held.seconds.get(key) ?? 0) + (at - work.since_s));
  held.stretches.push({ by, from_s: work.since_s, to_s: at });
}

function apply(held, event) {
  if (event.kind === "pad-changed" || event.kind === "pad-cleaned") {
    held.loaded[event.process] = 0;
    if (event.kind === "pad-changed") held.pads[event.process] = 0;
    return;
  }
  if (event.kind === "stopped") {
    const by = event.by ?? "";
    if (!held.atWork.has(by)) odd(held, event, "stopped while nothing was being worked");
    stop(held, by, event.at_s);
    return;
  }
  const key = keyOf(event.panel, event.section);
  if (!held.done.has(key)) {
    odd(held, event, `section ${event.section} of ${event.panel} is not in the plan`);
    return;
  }
  atSection(held, event, key);
}

function odd(held, event, what) {
  held.problems.push({ where: event.id, what });
}

const workers = (held, event) =>
  [...held.atWork.values()].filter((w) => w.panel === event.panel && w.section === event.section);

function atSection(held, event, key) {
  if (event.kind === "wiped") {
    held.wiped.set(key, true);
  } else if (event.kind === "skipped") {
    for (const work of workers(held, event)) stop(held, work.by, event.at_s);
    held.skipped.set(key, event.note ? `${event.reason}: ${event.note}` : event.reason);
    held.skips.set(key, event);
  } else if (event.kind === "started") {
    const by = event.by ?? "";
    stop(held, by, event.at_s);
    held.skipped.delete(key);
    held.skips.delete(key);
    const { panel, section, process, at_s: since_s } = event;
    held.atWork.set(by, { by, panel, section, process, since_s });
    held.touched.set(key, true);
    held.wiped.set(key, false);
  } else {
    const done = held.done.get(key);
    done[event.process] = (done[event.process] ?? 0) + 1;
    held.pads[event.process] = (held.pads[event.process] ?? 0) + 1;
    held.loaded[event.process] = (held.loaded[event.process] ?? 0) + 1;
    held.touched.set(key, true);
    held.wiped.set(key, false);
  }
}

function sectionOf(held, plan) {
  const key = keyOf(plan.panel, plan.id);
  const planned = {};
  for (const step of plan.steps) planned[step.process] = (planned[step.process] ?? 0) + step.sets;
  const done = held.done.get(key);
  const enough = Object.entries(planned).every(([process, n]) => (done[process] ?? 0) >= n);
  return {
    panel: plan.panel,
    id: plan.id,
    status: statusOf(held, { panel: plan.panel, section: plan.id }, key, enough),
    planned,
    done: { ...done },
    planned_s: plan.steps.reduce((sum, step) => sum + step.seconds, 0),
    actual_s: held.seconds.get(key) ?? 0,
    wiped: held.wiped.get(key) ?? false,
    reason: held.skipped.get(key) ?? "",
  };
}

function statusOf(held, place, key, enough) {
  if (held.skipped.has(key)) return "skipped";
  if (workers(held, place).length) return "working";
  if (enough) return "done";
  return held.touched.get(key) ? "paused" : "waiting";
}

/** Sets still to do on a section, by process, in the plan's order. */
export function missing(state) {
  return Object.entries(state.planned)
    .map(([process, n]) => [process, n - (state.done[process] ?? 0)])
    .filter(([, n]) => n > 0);
}

/** What to do now, most urgent first: leastcut.work.prompts in the reader's language. */
export function prompts(state, now_s, rules, nameOf = (panel) => panel) {
  const told = [...tooMuch(state, now_s, rules), ...pads(state, rules), ...wipes(state, nameOf)];
  const rest = state.sections.filter((s) => s.status === "waiting" || s.status === "paused");
  if (state.now === null && rest.length) {
    const [process, sets] = missing(rest[0])[0];
    const { panel, id: section } = rest[0];
    const values = { section, panel: nameOf(panel), sets, process };
    told.push({ do: "next", panel, section, say: _("Next: section {section} of {panel}, {sets} × {process}", values) });
  }
  return told;
}

function tooMuch(state, now_s, rules) {
  const told = [];
  for (const s of state.sections) {
    if (s.status !== "working") continue;
    const where = { panel: s.panel, section: s.id };
    if (!missing(s).length) {
      told.push({ do: "stop", ...where, say: _("Stop: the planned sets on {section} are done; more costs clear coat that was not planned", { section: s.id }) });
    }
    const begun = state.at_work.filter((w) => w.panel === s.panel && w.section === s.id);
    const spent = s.actual_s + begun.reduce((sum, w) => sum + (now_s - w.since_s), 0);
    if (s.planned_s > 0 && spent > rules.over_time * s.planned_s) {
      const values = { section: s.id, spent: spent.toFixed(0), planned: s.planned_s.toFixed(0) };
      told.push({ do: "hurry-not", ...where, say: _("{section} has taken {spent} s against {planned} s planned: look whether the arm goes slowly, as that cuts and warms more", values) });
    }
  }
  return told;
}

function pads(state, rules) {
  const told = [];
  for (const process of Object.keys(state.loaded).sort()) {
    const used = state.pads[process] ?? 0;
    const loaded = state.loaded[process];
    const where = { panel: "", section: "", process };
    if (used >= rules.change_after_sets) {
      told.push({ do: "change-pad", ...where, say: _("Change the pad of {process}: {n} sets; a saturated pad cuts less and hazes", { process, n: used }) });
    } else if (loaded >= rules.clean_after_sets) {
      told.push({ do: "clean-pad", ...where, say: _("Clean the pad of {process} on the fly: {n} sets since the last time", { process, n: loaded }) });
    }
  }
  return told;
}

function wipes(state, nameOf) {
  return state.sections
    .filter((s) => (s.status === "done" || s.status === "paused") && !s.wiped && Object.keys(s.done).length)
    .map((s) => ({
      do: "wipe", panel: s.panel, section: s.id,
      say: _("Wipe section {section} of {panel} before the residue dries", { section: s.id, panel: nameOf(s.panel) }),
    }));
}

/** Two or more people on one section at once. */
export function crowded(state) {
  const byPlace = new Map();
  for (const work of state.at_work) {
    const key = keyOf(work.panel, work.section);
    byPlace.set(key, [...(byPlace.get(key) ?? []), work]);
  }
  return [...byPlace.values()].filter((there) => there.length > 1);
}
