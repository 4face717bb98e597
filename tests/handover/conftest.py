"""Shared fixtures: an invented job, the same with hostile client data, plain drawings."""

from datetime import datetime

import msgspec
import pytest
from handover_job import NOW, build_dossier
from handover_panels import plain_drawings

from leastcut.handover.drawings import Drawings
from leastcut.handover.records import Dossier, People


@pytest.fixture(scope="session")
def dossier() -> Dossier:
    return build_dossier()


@pytest.fixture(scope="session")
def odd_dossier(dossier: Dossier) -> Dossier:
    """Client data that breaks careless layouts."""
    return msgspec.structs.replace(
        dossier,
        people=People(
            client="משה בן־ציון כהן 🚗 #strong[x] $y$ \\ \u202e \x00 " + "Wolfeschlegelstein" * 6,
            shop="ورشة الطلاء اللامع 🧽 & Söhne, Łódź – Αθήνα – 漢字",
            date="2026-03-14",
        ),
    )


@pytest.fixture(scope="session")
def moment() -> datetime:
    return NOW


@pytest.fixture
def now(moment: datetime) -> datetime:
    return moment


@pytest.fixture(scope="session")
def drawings(dossier: Dossier) -> Drawings:
    return plain_drawings(dossier)
