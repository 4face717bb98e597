"""The pages made from checks, contract and glossary are what their makers make now."""

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]


def maker(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "tools" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    if str(ROOT / "tools") not in sys.path:
        sys.path.insert(0, str(ROOT / "tools"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["make_evidence", "make_architecture", "make_glossary"])
def test_made_page_is_fresh(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    made = maker(name)
    monkeypatch.setattr(sys, "argv", [name, "--check"])
    assert made.main() == 0, capsys.readouterr().out


def test_a_stale_evidence_page_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    made = maker("make_evidence")
    stale = tmp_path / "evidence.md"
    stale.write_text(made.PAGE.read_text().replace("as printed", "as hoped"))
    monkeypatch.setattr(made, "PAGE", stale)
    monkeypatch.setattr(made, "ROOT", tmp_path)
    monkeypatch.setattr(sys, "argv", ["make_evidence", "--check"])
    assert made.main() == 1
    assert "stale" in capsys.readouterr().out


def test_the_evidence_page_counts_what_it_lists() -> None:
    page = (ROOT / "docs" / "evidence.md").read_text(encoding="utf-8")
    listed = [line for line in page.splitlines() if line.endswith(("| seen |", "| seen-2 |"))]
    good = [line for line in listed if "| differs: " not in line]
    assert f"**{len(good)} values from" in page
    assert len(good) >= 200
    assert "not met" not in page


def test_named_benches_and_tools_exist() -> None:
    for page in (ROOT / "docs").glob("*.md"):
        text = page.read_text(encoding="utf-8")
        for name in re.findall(r"`?python -m bench ([a-z]\w+)", text):
            assert (ROOT / "bench" / f"{name}.py").is_file(), f"{page.name}: {name}"
        for path in re.findall(r"\b(?:bench|tools|examples)/\w+\.(?:py|json|sh)\b", text):
            assert (ROOT / path).is_file(), f"{page.name}: {path}"


def test_each_chapter_of_the_evidence_is_a_page() -> None:
    page = (ROOT / "docs" / "evidence.md").read_text(encoding="utf-8")
    chapters = re.findall(r"^## ([a-z-]+)$", page, re.MULTILINE)
    assert len(chapters) >= 7
    assert all((ROOT / "docs" / f"{chapter}.md").is_file() for chapter in chapters)


def test_figures_of_the_accuracy_page_stand_in_their_chapters() -> None:
    page = (ROOT / "docs" / "accuracy.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1:5] for line in page.splitlines() if line.startswith("| ")][2:]
    assert len(rows) >= 9
    for what, figure, fails, where in rows:
        chapter = re.search(r"\]\(([a-z-]+\.md)", where)
        assert chapter, what
        text = (ROOT / "docs" / chapter[1]).read_text(encoding="utf-8")
        for number in re.findall(r"\b\d+(?:\.\d+)?\b", f"{figure} {fails}"):
            assert re.search(rf"(?<![\d.]){re.escape(number)}(?![\d]|\.\d)", text), (
                f"{what.strip()}: {number} does not stand in {chapter[1]}"
            )
