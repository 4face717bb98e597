"""Last-step records."""

import msgspec


class Window(msgspec.Struct, frozen=True, kw_only=True):
    """May the last layer go on now? Dew point, margin of the surface above it, and the reason."""

    dew_point_c: float
    margin_c: float
    ok: bool
    why: str
