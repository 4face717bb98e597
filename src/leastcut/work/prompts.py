"""What to do now, from the state of the run: clean or change the pad, wipe, stop, what is next."""

from typing import Literal

import msgspec

from leastcut.work.runs import RunState


class Rules(msgspec.Struct, frozen=True, kw_only=True):
    """When to be prompted: common practice, no source; a shop sets its own."""

    clean_after_sets: int = 2
    change_after_sets: int = 12
    over_time: float = 1.5


class Prompt(msgspec.Struct, frozen=True, kw_only=True):
    """What to do now, and why."""

    do: Literal["clean-pad", "change-pad", "wipe", "stop", "hurry-not", "next"]
    say: str
    panel: str = ""
    section: str = ""


def prompts(state: RunState, *, now_s: float, rules: Rules | None = None) -> tuple[Prompt, ...]:
    """Return what to do now, most urgent first.

    Parameters
    ----------
    state : RunState
        Where the run stands.
    now_s : float
        Seconds since the job began.
    rules : Rules, optional
        The shop's own limits.
    """
    rules = rules or Rules()
    told = [*_too_much(state, now_s, rules), *_pads(state, rules), *_wipes(state)]
    rest = [s for s in state.sections if s.status in {"waiting", "paused"}]
    if state.now is None and rest:
        process, sets = next(iter(rest[0].missing.items()))
        say = f"Next: section {rest[0].id} of {rest[0].panel}, {sets} × {process}"
        told.append(Prompt(do="next", say=say, panel=rest[0].panel, section=rest[0].id))
    return tuple(told)


def _too_much(state: RunState, now_s: float, rules: Rules) -> list[Prompt]:
    told = []
    for s in state.sections:
        if s.status != "working":
            continue
        where = {"panel": s.panel, "section": s.id}
        if not s.missing:
            say = f"Stop: the planned sets on {s.id} are done; more costs clear coat that was not planned"
            told.append(Prompt(do="stop", say=say, **where))
        begun = [w.since_s for w in state.at_work if (w.panel, w.section) == (s.panel, s.id)]
        spent = s.actual_s + sum(now_s - since_s for since_s in begun)
        if s.planned_s > 0 and spent > rules.over_time * s.planned_s:
            say = f"{s.id} has taken {spent:.0f} s against {s.planned_s:.0f} s planned: look whether the arm goes slowly, as that cuts and warms more"
            told.append(Prompt(do="hurry-not", say=say, **where))
    return told


def _pads(state: RunState, rules: Rules) -> list[Prompt]:
    told = []
    for process in sorted(state.loaded):
        used, loaded = state.pads.get(process, 0), state.loaded[process]
        if used >= rules.change_after_sets:
            say = f"Change the pad of {process}: {used} sets; a saturated pad cuts less and hazes"
            told.append(Prompt(do="change-pad", say=say))
        elif loaded >= rules.clean_after_sets:
            say = f"Clean the pad of {process} on the fly: {loaded} sets since the last time"
            told.append(Prompt(do="clean-pad", say=say))
    return told


def _wipes(state: RunState) -> list[Prompt]:
    return [
        Prompt(
            do="wipe",
            say=f"Wipe section {s.id} of {s.panel} before the residue dries",
            panel=s.panel,
            section=s.id,
        )
        for s in state.sections
        if s.status in {"done", "paused"} and not s.wiped and s.done
    ]
