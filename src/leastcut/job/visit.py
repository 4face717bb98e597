"""Fold the facts of one visit: what is known, who contradicts whom, what cannot be used. Pure.

Facts are only ever added. They count in the order of their numbers, so that every device comes to
the same visit whatever the order in which facts reached it. A value that does not fit its field is
told and passed over; the field keeps what it had.

A writer who had not seen the newest fact on a field and sets another value contradicts it: the
newest stands for the time being, all values stay known, and a later fact whose writer had seen the
newest decides. A device's own facts in a row, written before it heard from the shop, are one
writer's change of mind and no contradiction.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec

from leastcut.errors import Problem
from leastcut.inspect.records import Reading
from leastcut.job import values
from leastcut.shop import jobfile
from leastcut.shop.facts import Fact
from leastcut.shop.jobschema import JobFile
from leastcut.shop.quantities import decode
from leastcut.work.runs import Event

# Fact number, value, person, when the shop took it [Unix s].
Claim = tuple[int, Any, str, float]


class Conflict(msgspec.Struct, frozen=True, kw_only=True):
    """One field on which writers contradict each other: every value that is still claimed."""

    field: str
    values: tuple[Claim, ...]


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One visit of a car, folded from its facts.

    Attributes
    ----------
    raw : dict
        What a job file would say, complete tables only.
    job : JobFile or None
        The same as a record; None until the car has a label and a body.
    values : mapping of str to object
        Every field that was set and fits, also of tables that are not complete yet.
    items : mapping of str to mapping of str to dict
        By list, then by key, what was added and not taken back, in job-file form.
    order : mapping of str to tuple of str
        The keys of the items in `raw`, by list, in its order.
    began : int or None
        The first fact of the work, as far as it was not taken back.
    heads : mapping of str to int
        The newest fact on each field and item: the base to write for the next one.
    conflicts : tuple of Conflict
        Fields on which a person must decide.
    problems : tuple of Problem
        What cannot be used, and what is still missing in something begun.
    readings, readings_after : tuple of Reading
        Gauge readings before and after the work.
    events : tuple of Event
        The record of the work.
    """

    raw: dict[str, Any]
    job: JobFile | None
    values: Mapping[str, Any]
    items: Mapping[str, Mapping[str, dict[str, Any]]]
    order: Mapping[str, tuple[str, ...]]
    heads: Mapping[str, int]
    conflicts: tuple[Conflict, ...] = ()
    problems: tuple[Problem, ...] = ()
    readings: tuple[Reading, ...] = ()
    readings_after: tuple[Reading, ...] = ()
    events: tuple[Event, ...] = ()
    began: int | None = None


@dataclass
class _State:
    """What is known so far, while the facts pass by in order."""

    values: dict[str, Any] = field(default_factory=dict)
    items: dict[str, dict[str, dict[str, Any]]] = field(default_factory=dict)
    newest: dict[str, Fact] = field(default_factory=dict)
    claims: dict[str, list[Fact]] = field(default_factory=dict)
    problems: dict[str, Problem] = field(default_factory=dict)
    added: dict[str, int] = field(default_factory=dict)

    def claim(self, name: str, fact: Fact, *, current: Any) -> None:
        """Take a fact as the newest on a field; see whether it contradicts or decides."""
        head = self.newest.get(name)
        if head is None or fact.base == head.id:
            self.claims.pop(name, None)
        elif _goes_on(head, fact):
            known = self.claims.get(name, [])
            self.claims[name] = [f for f in known if f.device != fact.device] + [fact]
        elif current != fact.body or name in self.claims:
            known = self.claims.get(name, [head])
            self.claims[name] = [f for f in known if not _goes_on(f, fact)] + [fact]
        self.newest[name] = fact

    def told(self, problem: Problem) -> None:
        self.problems[problem.where] = problem


def _goes_on(before: Fact, fact: Fact) -> bool:
    """Tell whether one device wrote both, having heard nothing from the shop in between."""
    return fact.device is not None and (before.device, before.base) == (fact.device, fact.base)


def fold(facts: Iterable[Fact]) -> Visit:
    """Work out what a visit knows.

    Parameters
    ----------
    facts : iterable of Fact
        In any order, repeats allowed.

    Returns
    -------
    Visit
        The same for the same facts.
    """
    state = _State()
    for fact in _in_order(facts):
        _take(state, fact)
    tables, missing = _tables(state)
    lists, lacking = _lists(state)
    raw = _joined(tables, {name: list(items.values()) for name, items in lists.items()})
    job, wrong = _job(raw)
    readings = [(body, values.reading(body, key)) for key, body in _live(state, "reading")]
    return Visit(
        raw=raw,
        job=job,
        values=state.values,
        items=state.items,
        order={name: tuple(items) for name, items in lists.items()},
        heads={name: fact.id for name, fact in state.newest.items()},
        conflicts=tuple(_conflicts(state)),
        problems=(*state.problems.values(), *missing, *lacking, *wrong),
        readings=tuple(found for body, found in readings if not body.get("after")),
        readings_after=tuple(found for body, found in readings if body.get("after")),
        events=tuple(values.event(body, key) for key, body in _live(state, "event")),
        began=min((state.added[f"event/{key}"] for key, _ in _live(state, "event")), default=None),
    )


def _in_order(facts: Iterable[Fact]) -> Iterator[Fact]:
    """Yield each fact once, by its number; a key that comes again is the same fact."""
    seen: set[str] = set()
    for fact in sorted({fact.id: fact for fact in facts}.values(), key=lambda f: f.id):
        if fact.key not in seen:
            seen.add(fact.key)
            yield fact


def _take(state: _State, fact: Fact) -> None:
    name, slash, rest = fact.field.partition("/")
    if fact.kind == "add":
        _add(state, fact)
    elif slash and name in values.LISTS:
        _touch(state, fact, name, rest)
    elif fact.kind == "set":
        _set(state, fact)
    else:
        _odd(state, fact, "there is no such item to take back")


def _odd(state: _State, fact: Fact, what: str) -> None:
    state.told(Problem(where=fact.field, what=what, do="Read the page again and enter it anew"))


def _add(state: _State, fact: Fact) -> None:
    if fact.field not in values.LISTS:
        _odd(state, fact, "there is no such list")
        return
    body = fact.body
    if fact.field == "event" and isinstance(body, dict):
        made_s = fact.at_s if fact.made_s is None else fact.made_s
        body = {"at_s": made_s, **body, "id": fact.key}
    good, problems = values.item(fact.field, fact.key, body)
    for problem in problems:
        state.told(problem)
    if good:
        state.items.setdefault(fact.field, {})[fact.key] = good
        state.newest[f"{fact.field}/{fact.key}"] = fact
        state.added[f"{fact.field}/{fact.key}"] = fact.id


def _set(state: _State, fact: Fact) -> None:
    try:
        values.check(fact.field, fact.body)
    except values.FieldError as error:
        state.told(error.at(fact.field).problem())
        return
    state.problems.pop(fact.field, None)
    state.claim(fact.field, fact, current=state.values.get(fact.field))
    if fact.body is None:
        state.values.pop(fact.field, None)
    else:
        state.values[fact.field] = fact.body


def _touch(state: _State, fact: Fact, name: str, rest: str) -> None:
    """Change a field of an added item, or take the item back."""
    key, _, leaf = rest.partition(".")
    place, item = f"{name}/{key}", state.items.get(name, {}).get(key)
    if fact.kind == "drop":
        _drop(state, fact, name, key)
    elif item is None and place in state.newest:  # taken back by somebody else in the meantime
        state.claims[place] = [*state.claims.get(place, [state.newest[place]]), fact]
        state.newest[place] = fact
    elif item is None or not leaf:
        _odd(state, fact, "there is no such item to change")
    else:
        _change(state, fact, name, key)


def _drop(state: _State, fact: Fact, name: str, key: str) -> None:
    place = f"{name}/{key}"
    head = state.newest.get(place)
    if head is None:
        _odd(state, fact, "there is no such item to take back")
        return
    unseen = head.kind == "set" and fact.base is not None and fact.base < head.id
    state.claims.pop(place, None)
    if unseen and head.device != fact.device:
        state.claims[place] = [head, fact]
    state.newest[place] = fact
    if state.items.get(name, {}).pop(key, None) is not None:
        _forget(state.problems, place)
        if not unseen:
            _forget(state.claims, place)


def _forget(held: dict[str, Any], place: str) -> None:
    """Drop what stands under an item and its fields."""
    for name in [n for n in held if n == place or n.startswith(f"{place}.")]:
        del held[name]


def _change(state: _State, fact: Fact, name: str, key: str) -> None:
    place, leaf = f"{name}/{key}", fact.field.partition("/")[2].partition(".")[2]
    item = state.items[name][key]
    changed = {k: v for k, v in item.items() if k != leaf}
    if fact.body is not None:
        changed[leaf] = fact.body
    good, problems = values.item(name, key, changed)
    if problems:
        state.told(msgspec.structs.replace(problems[0], where=fact.field))
        return
    state.problems.pop(fact.field, None)
    state.claim(fact.field, fact, current=item.get(leaf))
    state.items[name][key] = good
    state.newest[place] = fact


def _live(state: _State, name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    yield from state.items.get(name, {}).items()


def _conflicts(state: _State) -> Iterator[Conflict]:
    for name, facts in state.claims.items():
        if len({msgspec.json.encode(fact.body, order="sorted") for fact in facts}) > 1:
            claims = tuple((f.id, f.body, f.person, f.at_s) for f in facts)
            yield Conflict(field=name, values=claims)


def _tables(state: _State) -> tuple[dict[str, Any], list[Problem]]:
    """Return the tables of the job file that are complete, and what the others lack."""
    tree: dict[str, Any] = {}
    # A field of names may be set whole and name by name: the single names stand on the whole.
    for name, value in sorted(state.values.items(), key=lambda one: one[0].count(".")):
        *path, leaf = values.keys_of(name)
        table = tree
        for step in path:
            table = table.setdefault(step, {})
        table[leaf] = dict(value) if isinstance(value, dict) else value
    problems = []
    for name in ("prices",):
        if name in tree and (lack := _lacks(name, tree[name])):
            problems.append(lack)
            del tree[name]
    return tree, problems


def _lacks(name: str, table: Any) -> Problem | None:
    skeleton = {"format": 1, "car": {"label": "x", "body": "suv"}, name: table}
    try:
        msgspec.convert(skeleton, JobFile, dec_hook=decode)
    except msgspec.ValidationError as error:
        keys, what, do = jobfile.explain(str(error), [])
        return Problem(where=".".join(map(str, keys)), what=what, do=do)
    return None


def _lists(state: _State) -> tuple[dict[str, dict[str, Any]], list[Problem]]:
    """Return the complete items by list and key, and what the others lack."""
    lists: dict[str, dict[str, Any]] = {}
    problems = []
    for name, record in values.TABLES.items():
        for key, item in _live(state, name):
            try:
                msgspec.convert(item, record, dec_hook=decode)
                lists.setdefault(name, {})[key] = item
            except msgspec.ValidationError as error:
                _, what, do = jobfile.explain(str(error), [])
                problems.append(Problem(where=f"{name}/{key}", what=what, do=do))
    return lists, problems


def _joined(tables: dict[str, Any], lists: Mapping[str, Sequence[Any]]) -> dict[str, Any]:
    raw = {"format": 1, **tables}
    for name, items in lists.items():
        table, _, leaf = name.rpartition(".")
        (raw.setdefault(table, {}) if table else raw)[leaf] = list(items)
    return raw


def _job(raw: dict[str, Any]) -> tuple[JobFile | None, list[Problem]]:
    try:
        return msgspec.convert(raw, JobFile, dec_hook=decode), []
    except msgspec.ValidationError as error:
        keys, what, do = jobfile.explain(str(error), [])
        return None, [Problem(where=".".join(map(str, keys)), what=what, do=do)]
