"""What if: a plan under other wishes, worked out in another process and kept, so that no page waits."""

import hashlib
import logging
import threading
from collections.abc import Sequence
from concurrent.futures import Future
from functools import partial
from typing import Any

import msgspec

from leastcut.errors import InputError
from leastcut.job.again import timed_of
from leastcut.job.analyst import as_begun, held, holds
from leastcut.job.look import Seen, key
from leastcut.job.settle import needed
from leastcut.job.sources import InShop, shop_source
from leastcut.job.visit import Visit
from leastcut.plan.learn import Timed
from leastcut.plan.records import Change, Figures
from leastcut.shop.executors import Executor, Local
from leastcut.shop.store import Shop
from leastcut.web.words import mark

_LOG = logging.getLogger(__name__)
SEED = 20
# Raise it when the same wish may be answered otherwise.
VERSION = 4


class Wish(msgspec.Struct, frozen=True, kw_only=True):
    """What to change; None changes nothing.

    Attributes
    ----------
    finish : str or None
        ``daily`` or ``show``.
    reserve : str or None
        Clear coat that must stay, as a job file has it.
    confidence_percent : float or None
        Chance of the finish that each section must have.
    minutes : float or None
        Most minutes on the sections.
    """

    finish: str | None = None
    reserve: str | None = None
    confidence_percent: float | None = None
    minutes: float | None = None


class Wondered(msgspec.Struct, frozen=True, kw_only=True):
    """What a wish comes to, or why it cannot be."""

    before: Figures | None = None
    after: Figures | None = None
    changed: int = 0
    relaxations: tuple[str, ...] = ()
    why: str = ""
    do: str = ""


def wonder(
    source: InShop, seen: dict[tuple[Any, int], Seen], wish: Wish, timed: Sequence[Timed]
) -> bytes:
    """Plan with and without a wish under the same chance; the answer as JSON. Runs in a worker.

    `timed` is what other visits taught about the shop's pace, as the plan itself takes it.
    """
    try:
        return msgspec.json.encode(_wonder(source, seen, wish, timed))
    except InputError as error:
        return msgspec.json.encode(Wondered(why=error.what, do=error.do))


def _wonder(
    source: InShop, seen: dict[tuple[Any, int], Seen], wish: Wish, timed: Sequence[Timed]
) -> Wondered:
    from dataclasses import replace

    import numpy as np

    from leastcut.job.settle import evidence_of
    from leastcut.job.weigh import weigh
    from leastcut.plan.build import plan_of
    from leastcut.plan.learn import learn
    from leastcut.plan.whatif import changed

    evidence = evidence_of(source, seen)
    learnt = learn(timed) if timed else None
    now = weigh(evidence, learnt=learnt)
    wanted = weigh(replace(evidence, job=_wished(evidence.job, wish)), learnt=learnt)
    inputs = changed(wanted.inputs, Change(minutes=wish.minutes), rng=np.random.default_rng(SEED))
    old, before = plan_of(now.inputs, around=now.around, rng=np.random.default_rng(SEED))
    new, after = plan_of(inputs, around=wanted.around, rng=np.random.default_rng(SEED))
    steps = {(s.panel, s.id): s.steps for s in old.sections}
    return Wondered(
        before=before,
        after=after,
        changed=sum(steps.get((s.panel, s.id)) != s.steps for s in new.sections),
        relaxations=tuple(f"{r.panel}: {r.say}" if r.panel else r.say for r in new.relaxations),
    )


def _wished(job: Any, wish: Wish) -> Any:
    from leastcut.shop.quantities import Micrometres, decode

    target = job.target
    if wish.finish is not None:
        target = msgspec.structs.replace(target, finish=wish.finish)
    if wish.reserve is not None:
        reserve = decode(Micrometres, wish.reserve)
        target = msgspec.structs.replace(target, reserve_um=reserve)
    if wish.confidence_percent is not None:
        target = msgspec.structs.replace(target, confidence_percent=wish.confidence_percent)
    return msgspec.structs.replace(job, target=target)


class Wonderer:
    """Answers what-ifs: at once when the answer is kept, else after a worker has found it.

    Parameters
    ----------
    shop : Shop
        Keeps the answers.
    executor : Executor, optional
        Who works; one process when left out.
    """

    def __init__(self, shop: Shop, executor: Executor | None = None) -> None:
        self._shop, self.executor = shop, executor or Local(1)
        self._lock = threading.Lock()
        self._under_way: set[str] = set()
        self._failed: set[str] = set()

    def ask(self, visit: int, now: Visit, head: int, wish: Wish) -> Wondered | None:
        """Return what a wish comes to, or None while it is being worked out."""
        name = _name(visit, head, wish)
        body = self._shop.finding(name)
        if body is not None:
            return msgspec.json.decode(body, type=Wondered)
        with self._lock:
            if name in self._failed:
                self._failed.discard(name)
                return Wondered(why=mark("this is our own fault"), do=mark("Try again later"))
            if name in self._under_way:
                return None
            self._under_way.add(name)
        self._begin(name, visit, now, wish)
        return None

    def _begin(self, name: str, visit: int, now: Visit, wish: Wish) -> None:
        shop = self._shop
        source = shop_source(
            now,
            content=partial(held, shop),
            holds=partial(holds, shop, visit),
            before=as_begun(shop.facts(visit), now),
        )
        seen = {}
        for look in needed(source):
            found = shop.finding(key(look))
            if found is not None:
                seen[look.kind, look.number] = msgspec.json.decode(found, type=Seen)
        future = self.executor.submit(wonder, source, seen, wish, timed_of(shop, besides=visit))
        future.add_done_callback(lambda done: self._keep(name, done))

    def _keep(self, name: str, done: "Future[bytes]") -> None:
        fault = done.exception() if not done.cancelled() else None
        if fault is not None:
            _LOG.error("a what-if failed: %s", fault)
        elif not done.cancelled():
            self._shop.put_finding(name, done.result())
        with self._lock:
            self._under_way.discard(name)
            if fault is not None:
                self._failed.add(name)

    def close(self) -> None:
        """End the work."""
        self.executor.close()


def _name(visit: int, head: int, wish: Wish) -> str:
    asked = msgspec.json.encode((VERSION, visit, head, wish))
    return f"wonder-{hashlib.sha256(asked).hexdigest()}"
