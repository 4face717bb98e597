"""A thumb on the work screen: taps by chance, with a server that is killed and started by chance.

What was tapped is written down here from what the page showed before the tap; at the end the shop's
record must say the same, in the same order, each once.
"""

import random
import time
from collections import defaultdict
from dataclasses import dataclass, field

from playwright.sync_api import Page, expect
from workserver import Bench

# Read from the disk of the browser, not from the page's own memory.
KEPT = """() => new Promise((done) => {
  const ask = indexedDB.open("leastcut-work");
  ask.onsuccess = async () => {
    const all = ask.result.transaction(["facts", "outbox"]);
    const count = (name) => new Promise((counted) => {
      all.objectStore(name).count().onsuccess = (event) => counted(event.target.result);
    });
    const both = await Promise.all(["facts", "outbox"].map(count));
    ask.result.close();
    done(both[0] + both[1]);
  };
})"""

KINDS = {
    "start": "started",
    "set": "set-done",
    "stop": "stopped",
    "wiped": "wiped",
    "cleaned": "pad-cleaned",
    "fresh": "pad-changed",
}
PLACELESS = frozenset({"stop", "cleaned", "fresh"})


@dataclass
class Thumb:
    """Taps on a page and what they must come to."""

    page: Page
    rng: random.Random
    wanted: list[tuple[str, str]] = field(default_factory=list)
    undoable: list[int] = field(default_factory=list)
    last: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    taps: int = 0
    reloads: int = 0

    def choices(self) -> list[str]:
        on_screen = ("start", "set", "stop", "wiped", "cleaned", "fresh", "undo", "next")
        weight = {"set": 6, "start": 3, "next": 1}
        found = [
            name
            for name in on_screen
            if self.page.locator(f"#{name}").is_visible()
            and self.page.locator(f"#{name}").is_enabled()
        ]
        return [name for name in found for _ in range(weight.get(name, 1))]

    def tap(self) -> None:
        """Tap once on something that there is, and wait until it is on the phone's disk."""
        name = self.rng.choice(self.choices())
        place = self.page.locator("#where").inner_text()
        label = self.page.locator(f"#{name}").inner_text()
        kept = self.page.evaluate(KEPT)
        # Sooner on the same button is a bounce of the same thumb.
        self.page.wait_for_timeout(max(0.0, 450 - 1000 * (time.monotonic() - self.last[name])))
        self.page.locator(f"#{name}").tap()
        self.last[name] = time.monotonic()
        made = self.expected(name, label, place)
        self.wanted += made
        self.until(kept + len(made))
        self.taps += 1

    def until(self, wanted: int) -> None:
        end = time.monotonic() + 20
        while (kept := self.page.evaluate(KEPT)) != wanted:
            assert time.monotonic() < end, (kept, wanted, self.wanted[-3:])
            self.page.wait_for_timeout(20)

    def expected(self, name: str, label: str, place: str) -> list[tuple[str, str]]:
        """Return the facts that a tap makes: kind and, where it has one, place."""
        if name == "next":
            expect(self.page.locator("#where")).not_to_have_text(place)
            return []
        if name == "undo":
            return [("drop", "")] * self.undoable.pop()
        if name == "start":
            self.answer()
        made = [(KINDS[name], "" if name in PLACELESS else place)]
        if label.startswith("Last"):
            made.append(("stopped", ""))
        self.undoable.append(len(made))
        return made

    def answer(self) -> None:
        read = self.page.locator("[data-answer=read]")
        yes = self.page.locator("[data-answer=yes]")
        expect(read.or_(yes)).to_be_visible()
        if read.is_visible():
            read.tap()
        expect(yes).to_be_visible()
        yes.tap()


def run(thumb: Thumb, bench: Bench, *, taps: int, offline_reload: bool, kill: float = 0.12) -> None:
    """Tap, while the server comes and goes; reload now and then where that is allowed."""
    page, rng = thumb.page, thumb.rng
    while thumb.taps < taps:
        if rng.random() < kill:
            # In the middle of a request as well as between two.
            page.wait_for_timeout(rng.choice((0, 5, 20, 80)))
            bench.kill() if bench.up else bench.start()
        if offline_reload and not bench.up and rng.random() < 0.15:
            page.reload()
            expect(page.locator("#work")).to_be_visible(timeout=20_000)
            thumb.reloads += 1
        thumb.tap()
    if not bench.up:
        bench.start()
    bench.answers()
    expect(page.locator("#net")).to_have_attribute("data-waiting", "0", timeout=90_000)


def recorded(facts: object, names: dict[str, str]) -> list[tuple[str, str]]:
    """Return the work that a shop's facts tell, as `Thumb.wanted` does."""
    found = []
    for fact in facts:  # type: ignore[attr-defined]
        if fact.kind == "drop":
            found.append(("drop", ""))
        elif fact.field == "event":
            where = fact.body.get("section")
            place = f"{names[fact.body['panel']]}, section {where}" if where else ""
            found.append((fact.body["kind"], place))
    return found
