"""The demo's evidence, gathered once, and what follows from a changed copy of it."""

import numpy as np
import pytest

from leastcut.handover.records import Dossier
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.gather import gather


@pytest.fixture(scope="session")
def evidence(demo) -> Evidence:  # noqa: ANN001 - the shared fixture's class lives in conftest
    return gather(demo.job_file)


def decided(evidence: Evidence) -> Dossier:
    """Decide as the command does, with a seed of its own."""
    return decide(evidence, rng=np.random.default_rng(3))


@pytest.fixture(scope="session")
def dossier(evidence: Evidence) -> Dossier:
    return decided(evidence)
