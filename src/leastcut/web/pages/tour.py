"""The page of words explained."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.web.glossary import TERMS
from leastcut.web.reply import reader_of, render


def terms(request: Request) -> Response:
    """Show every word with its meaning."""
    reader = reader_of(request)
    words = sorted(
        ((slug, reader.say(term.word), reader.say(term.text)) for slug, term in TERMS.items()),
        key=lambda item: item[1].casefold(),
    )
    return render(request, "terms.html", title=reader.say("Words explained"), words=words)


routes = [Route("/terms", terms)]
