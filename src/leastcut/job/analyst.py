"""The analyst: works out in other processes what a visit's new facts mean, so that no page waits.

Each visit that was poked has a thread here which does nothing but wait: photos are looked at by the
workers, as many at once as there are workers, each finding is kept as soon as it is there, then the
whole is decided. Facts that came in the meantime are taken up before the decision or after it;
any number of pokes come to one more round.
"""

import logging
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import msgspec

from leastcut.errors import Problem
from leastcut.job.again import pace_key, timed_of
from leastcut.job.look import Look, Seen, key, see
from leastcut.job.settle import needed, picture_key, settle
from leastcut.job.sources import InShop, shop_source
from leastcut.job.visit import Visit, fold
from leastcut.shop.executors import Executor, Local, Lost, each, one
from leastcut.shop.facts import Fact
from leastcut.shop.store import Shop
from leastcut.shop.trouble import ShopError

_LOG = logging.getLogger(__name__)

AGAIN_S = 30.0  # a round that failed is tried again after this, or when there is a new fact

_FATAL = Seen(
    error=Problem(
        where="photo",
        what="looking at it ended the process that looked",
        do="Save it anew as a JPEG of at most 50 megapixels and send that",
    )
)


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """How far the analysis of a visit is.

    Attributes
    ----------
    doing : str
        What is being done, in a few words; empty when nothing is.
    done, total : int
        Looks at photos, done and asked for.
    head : int or None
        The newest fact that the stored dossier knows; None without a dossier.
    wanted_head : int
        The newest fact there is.
    failed : str
        Why the last round ended without a dossier, empty if it did not.
    """

    doing: str
    done: int
    total: int
    head: int | None
    wanted_head: int
    failed: str = ""


@dataclass
class _Round:
    """One visit being worked on."""

    again: bool = True
    doing: str = "reading"
    done: int = 0
    total: int = 0


def held(shop: Shop, name: str) -> bytes | None:
    """Return the content of a small file by its digest, None where the shop has none."""
    try:
        return shop.blob(name)
    except ShopError:
        return None


def holds(shop: Shop, visit: int, name: str) -> bool:
    """Tell whether a photo belongs to a visit: a digest alone is no leave to look."""
    try:
        photo = shop.photo(name)
    except ShopError:
        return False
    return photo is not None and visit in photo.visits


def as_begun(facts: Sequence[Fact], folded: Visit) -> Visit | None:
    """Return a visit as it stood when the work on it began."""
    began = folded.began
    return None if began is None else fold(fact for fact in facts if fact.id < began)


class Analyst:
    """Keeps the dossiers of a shop's visits up to date.

    Parameters
    ----------
    shop : Shop
        Where facts come from and findings go.
    executor : Executor, optional
        Who does the work; two processes on this machine when left out.
    """

    def __init__(self, shop: Shop, executor: Executor | None = None) -> None:
        self._shop, self._executor = shop, executor or Local()
        self._lock = threading.Lock()
        self._rounds: dict[int, _Round] = {}
        self._failed: dict[int, str] = {}
        self._heads: dict[int, int] = {}  # of the stored dossiers, as far as seen to here
        self._seen_to: dict[int, int] = {}  # up to which fact everything was worked out here
        self._failed_at: dict[int, tuple[int | None, float]] = {}
        self._idle = threading.Condition(self._lock)
        self._closed = False

    def poke(self, visit: int) -> None:
        """See to a visit soon; returns at once."""
        with self._lock:
            if self._closed:
                return
            if visit in self._rounds:
                self._rounds[visit].again = True
                return
            self._rounds[visit] = _Round()
        threading.Thread(target=self._see_to, args=(visit,), daemon=True).start()

    def progress(self, visit: int) -> Progress:
        """Say how far the analysis of a visit is."""
        head, wanted_head = self._stored_head(visit), self._shop.head(visit)
        with self._lock:
            now = self._rounds.get(visit) or _Round(doing="")
            return Progress(
                doing=now.doing,
                done=now.done,
                total=now.total,
                head=head,
                wanted_head=wanted_head,
                failed=self._failed.get(visit, ""),
            )

    def wait(self, visit: int, *, timeout_s: float) -> bool:
        """Wait until nothing is left to do on a visit; False when it takes longer."""
        with self._idle:
            return self._idle.wait_for(lambda: visit not in self._rounds, timeout_s)

    def close(self) -> None:
        """End the work; what was found stays, the rest is done after the next poke."""
        with self._lock:
            self._closed = True
        self._executor.close()

    def _see_to(self, visit: int) -> None:
        """Work on a visit until no poke came in the meantime."""
        while True:
            with self._lock:
                self._rounds[visit].again = False
            failed = self._guarded(visit)
            with self._idle:
                self._failed[visit] = failed
                if self._closed or not self._rounds[visit].again:
                    del self._rounds[visit]
                    self._idle.notify_all()
                    return

    def _guarded(self, visit: int) -> str:
        """Do one round; a fault of ours costs this visit's dossier and nothing else."""
        head = None
        try:
            head = self._shop.head(visit)
            if self._rests(visit, head):
                return self._failed.get(visit, "")
            self._round(visit)
        except Exception as error:  # noqa: BLE001 - a thread has nobody above it to tell
            self._failed_at[visit] = (head, time.monotonic())
            if not self._closed:
                _LOG.exception("the analysis of visit %s failed", visit)
            return f"{type(error).__name__}: {error}"
        return ""

    def _rests(self, visit: int, head: int) -> bool:
        """Tell whether all is done up to this fact, or failed on it a moment ago."""
        failed_head, when = self._failed_at.get(visit, (None, 0.0))
        lately = failed_head == head and time.monotonic() < when + AGAIN_S
        return lately or self._seen_to.get(visit) == head

    def _round(self, visit: int) -> None:
        head, source = self._read(visit)
        wanted = () if source is None else needed(source)
        looked = False
        while source is not None and (missing := self._missing(wanted)):
            self._look(visit, missing, len(wanted))
            looked = True
            head, source = self._read(visit)
            wanted = () if source is None else needed(source)
        if self._closed:
            return
        # A finding that is new though no fact is: the analysis is another, or the finding was gone.
        if source is not None and (looked or self._stored_head(visit) != head):
            self._decide(visit, head, source, wanted)
        self._seen_to[visit] = head

    def _decide(self, visit: int, head: int, source: InShop, wanted: Sequence[Look]) -> None:
        self._say(visit, "deciding")
        seen = {(look.kind, look.number): self._found(look) for look in wanted}
        timed = timed_of(self._shop, besides=visit)
        body, taught = one(self._executor, settle, source, seen, timed)
        if taught:
            self._shop.put_finding(pace_key(visit), msgspec.json.encode(taught))
        self._shop.put_dossier(visit, head, body)
        self._heads[visit] = head

    def _stored_head(self, visit: int) -> int | None:
        if visit not in self._heads:
            stored = self._shop.dossier(visit)
            if stored is None:
                return None
            self._heads[visit] = stored[0]
        return self._heads[visit]

    def _read(self, visit: int) -> tuple[int, InShop | None]:
        """Return the visit as it stands now with its newest fact; None while it has no car."""
        with self._lock:
            self._rounds[visit].again = False
        facts = self._shop.facts(visit)
        folded = fold(facts)
        head = facts[-1].id if facts else 0
        if folded.job is None:
            return head, None
        shop = self._shop
        return head, shop_source(
            folded,
            content=partial(held, shop),
            holds=partial(holds, shop, visit),
            name=f"visit {visit}",
            before=as_begun(facts, folded),
        )

    def _missing(self, wanted: Sequence[Look]) -> dict[str, Look]:
        """Return the looks without a finding, each once."""
        if self._closed:
            return {}
        by_key = {key(look): look for look in wanted}
        return {name: one for name, one in by_key.items() if self._shop.finding(name) is None}

    def _look(self, visit: int, missing: dict[str, Look], total: int) -> None:
        """Have photos looked at, and keep each finding when it is there."""
        done = total - len(missing)
        self._say(visit, "looking at photos", done, total)
        for look, result in each(
            self._executor,
            see,
            missing.values(),
            arguments=self._arguments,
            give_up=lambda: self._closed,
        ):
            self._keep(look, (_FATAL, ()) if isinstance(result, Lost) else result)
            done += 1
            self._say(visit, "looking at photos", done, total)

    def _arguments(self, look: Look) -> tuple[Any, ...]:
        return (look, *(self._shop.blob(name) for name in look.files))

    def _keep(self, look: Look, result: tuple[Seen, tuple[bytes, ...]]) -> None:
        """Keep what a look found: the pictures first, so that a finding never lacks them."""
        seen, pictures = result
        for number, picture in enumerate(pictures):
            self._shop.put_picture(picture_key(look, number), picture)
        self._shop.put_finding(key(look), msgspec.json.encode(seen))

    def _found(self, look: Look) -> Seen:
        body = self._shop.finding(key(look))
        assert body is not None
        return msgspec.json.decode(body, type=Seen)

    def _say(
        self, visit: int, doing: str, done: int | None = None, total: int | None = None
    ) -> None:
        with self._lock:
            now = self._rounds[visit]
            now.doing = doing
            now.done = now.done if done is None else done
            now.total = now.total if total is None else total
