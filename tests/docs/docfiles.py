"""The commands that the documentation shows, and a folder in which they can be run.

Files that a chapter shows are taken from it: an example that is wrong fails where it is used.
"""

import re
import shlex
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted(p for p in ROOT.glob("docs/*.md") if p.name != "commands.md")]
# Why a shown command is not run to its end here; its arguments are parsed all the same.
NOT_RUN = {
    "demo": "run once for all tests: tests/conftest.py",
    "serve": "runs until it is stopped: tests/web",
    "shop pair": "waits for the workbench: tests/web",
    "shop shut-out": "needs a paired device: tests/web",
    "shop move": "needs a database server: tests/shop",
    "shop batch --cluster": "needs a scheduler: tests/job",
}
PROMPT = re.compile(r"^\s*(?:\$ )?(?:\.venv/bin/)?(leastcut .*)$")


def shown(page: Path) -> list[str]:
    """Return the commands in the code blocks of a page, in order, each once."""
    lines = page.read_text(encoding="utf-8").splitlines()
    found: list[str] = []
    fenced = False
    for number, line in enumerate(lines):
        if line.lstrip().startswith("```"):
            fenced = not fenced
        elif (fenced or line.startswith("    ")) and (told := PROMPT.match(line)):
            found.append(_whole(told[1], lines[number + 1 :]))
    return list(dict.fromkeys(found))


def _whole(line: str, after: list[str]) -> str:
    """Return a command with its continued lines, without what is said beside it."""
    while line.endswith("\\"):
        line = line[:-1] + after.pop(0).strip()
    return " ".join(line.partition("  #")[0].split())


def words(command: str) -> list[str]:
    """Return the arguments as a shell gives them."""
    return shlex.split(command, comments=True)[1:]


def reason(command: str) -> str | None:
    """Return why a command is only parsed, if it is."""
    for start, why in NOT_RUN.items():
        name, _, option = start.partition(" --")
        if command.startswith(f"leastcut {name}") and f"--{option}" in f"--{command}":
            return why
    return None


def block(page: str, language: str, has: str) -> str:
    """Return the first code block of a language in a chapter that holds some text."""
    text = (ROOT / page).read_text(encoding="utf-8")
    blocks = re.findall(rf"^( *)```{language}\n(.*?)^ *```", text, re.DOTALL | re.MULTILINE)
    return next(
        "\n".join(line[len(indent) :] for line in body.splitlines()) + "\n"
        for indent, body in blocks
        if has in body
    )


def furnish(folder: Path) -> None:
    """Put beside a copied demo every file that the documentation names."""
    job = (folder / "demo.toml").read_text(encoding="utf-8")
    for name in ("JOB.toml", "job.toml"):
        (folder / name).write_text(job, encoding="utf-8")
    taken = {
        "my-car.toml": block("README.md", "toml", "my car"),
        "readings.csv": block("docs/inspect-film.md", "csv", "reading_um"),
        "SET.toml": block("docs/polish.md", "toml", "pad_diameter_mm"),
        "plan.toml": block("docs/polish.md", "toml", "pad_diameter_mm"),
        "OUTLINE.json": block("docs/plan-sections.md", "json", "outline_mm"),
        "TRIALS.toml": block("docs/testspot.md", "toml", "[[trial]]"),
        "WEEK.toml": block("docs/plan.md", "toml", "first_day"),
        "ledger.csv": "panel,cut_um,sd_um,when\nbonnet,2.5,0.5,2024-05-01\n",
        "gloss.csv": "panel,angle_deg,gloss_gu\nbonnet,20,71\nbonnet,20,73\nbonnet,60,85\nbonnet,60,86\n",
        "forecast.csv": "time,air_c,rh_percent\n08:00,14,80\n11:00,18,62\n16:00,20,55\n19:00,16,70\n",
        "LOG.csv": "job,operation,planned_minutes,actual_minutes\na,sets,200,230\nb,sets,180,210\n",
        "door.json": '{"panel": "door-front-left", "square_px": [[100, 100], [200, 100], [200, 200], [100, 200]], "outline_px": [[50, 50], [450, 60], [440, 380], [60, 370]]}',
    }
    for name, text in taken.items():
        (folder / name).write_text(text, encoding="utf-8")
    _pictures(folder)


def _pictures(folder: Path) -> None:
    """Draw the sheet's reflection and a take of an arm at work."""
    import cv2

    sys.path[:0] = [str(ROOT / "tests" / "inspect"), str(ROOT / "tests" / "work")]
    from photosheet import sheet_picture
    from takes import Take, write

    cv2.imwrite(str(folder / "reflection.jpg"), 30 + 200 * sheet_picture(12.0))
    take = Take(square_mm=260.0, pad_mm=120.0, speed_mm_s=300.0, fps=24.0, size=(384, 216))
    write(folder / "take.mp4", take)
