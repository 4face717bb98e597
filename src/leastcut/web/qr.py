"""The square that a phone's camera reads: as a drawing for a page, as blocks for a terminal."""

import io


def svg(text: str) -> str:
    """Return a QR code as SVG to stand in a page: black on white in light and dark alike.

    Parameters
    ----------
    text : str
        What the camera shall read; an address.
    """
    import segno

    out = io.BytesIO()
    made = segno.make(text, error="m", micro=False)
    made.save(
        out,
        kind="svg",
        border=4,
        xmldecl=False,
        svgns=True,
        omitsize=True,
        dark="#000",
        light="#fff",
        svgclass=None,
        lineclass=None,
        nl=False,
    )
    return out.getvalue().decode()


def blocks(text: str) -> str:
    """Return a QR code in half-block letters for a terminal, dark on light."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()
