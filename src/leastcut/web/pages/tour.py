"""The first-run tour on the invented car, and the page of words explained."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.web.glossary import STEPS, TERMS, Step
from leastcut.web.reply import reader_of, render


def step_of(request: Request) -> Step | None:
    """Return the stop of the tour that a page was reached by."""
    given = request.query_params.get("tour", "")
    number = int(given) if given.isdigit() else 0
    return STEPS[number - 1] if 1 <= number <= len(STEPS) else None


def terms(request: Request) -> Response:
    """Show every word with its meaning."""
    reader = reader_of(request)
    words = sorted(
        ((slug, reader.say(term.word), reader.say(term.text)) for slug, term in TERMS.items()),
        key=lambda item: item[1].casefold(),
    )
    return render(request, "terms.html", title=reader.say("Words explained"), words=words)


routes = [Route("/terms", terms)]
