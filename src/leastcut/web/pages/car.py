"""Stage one: the car, its paint, its people, and what the client wants."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.web.pages.choices import CHOICES
from leastcut.web.pages.next import next_of
from leastcut.web.pages.visit import look, values_for
from leastcut.web.reply import reader_of, render


def car(request: Request) -> Response:
    """Show what is known of the car, and the forms to say more."""
    found, reader = look(request), reader_of(request)
    changed = {str(item.get("id")): key for key, item in found.items("panel").items()}
    return render(
        request,
        "car.html",
        **values_for(
            found,
            stage="car",
            title=reader.say("Car"),
            choices=CHOICES,
            next=next_of(found, reader, "car"),
            stage_now=found.stage("car"),
            typical=found.car,
            panel_words=[(panel.id, reader.told(panel.name)) for panel in found.panels],
            changed=changed,
            corrections=[(f"panel/{key}", item) for key, item in found.items("panel").items()],
        ),
    )


routes = [Route("/v/{visit:int}/car", car)]
