"""Is the paint ready to be looked at and polished? The wash-and-clay check.

Everything here is common practice, no source: grit that stays on the paint is what a pad drags
around, so the paint is washed, felt, cleaned and dried before anybody judges or polishes it.
"""

from leastcut.inspect.records import WashCheck

SOURCE = "common practice, no source"

_WASH = {
    "unwashed": "Wash the car first: grit on the paint scratches it and hides in the photos.",
    "rinsed": "A rinse leaves the bonded dirt: wash by hand with plenty of lubrication.",
}
_FEEL = {
    "not-felt": "Feel the washed, wet paint with the fingertips (through a thin bag it is plainer).",
    "rough": (
        "Rough paint carries bonded contamination: clay it first, well lubricated, one small area "
        "at a time. Claying itself can mar the paint, so inspect again afterwards."
    ),
}


def check(check: WashCheck) -> tuple[bool, tuple[str, ...]]:
    """Say whether the car is ready for inspection and polishing, and what is missing if not.

    Parameters
    ----------
    check : WashCheck
        What the hand felt and the eye saw.

    Returns
    -------
    bool, tuple of str
        Ready or not; what to do first, in order of work, each a plain sentence. Every sentence is
        common practice, no source.

    Examples
    --------
    >>> check(WashCheck(washed="washed", feel="smooth", tar_or_iron=False, dry=True))
    (True, ())
    >>> check(WashCheck(washed="washed", feel="smooth", tar_or_iron=False, dry=False))[1]
    ('Dry the car: water drops bend the light and thin the liquid under the pad.',)
    """
    todo = (
        _WASH.get(check.washed),
        _chemistry(check),
        _FEEL.get(check.feel),
        None if check.dry else _drying(check),
    )
    missing = tuple(step for step in todo if step is not None)
    return not missing, missing


def _chemistry(check: WashCheck) -> str | None:
    if check.tar_or_iron is None:
        return "Look for tar spots and rust specks, low on the doors and behind the wheels."
    if check.tar_or_iron:
        return (
            "Dissolve tar and rust specks with a remover made for paint and rinse it off: under a "
            "pad or a clay bar they scratch. Wear gloves and mind the maker's safety sheet."
        )
    return None


def _drying(check: WashCheck) -> str:
    if check.dry is None:
        return "Make sure that the paint is dry, seams and mirrors included."
    return "Dry the car: water drops bend the light and thin the liquid under the pad."


def before_proof(state: WashCheck) -> tuple[str, ...]:
    """Return what must be done before photos that shall prove a result. Common practice, no source.

    Examples
    --------
    >>> len(before_proof(WashCheck(washed="washed", feel="smooth", tar_or_iron=False, dry=True)))
    1
    """
    wipe = (
        "Wipe the place bare of polishing oils (a paint-safe solvent wipe, fresh towel, two "
        "wipes): oils fill scratches and flatter the photo."
    )
    return (*check(state)[1], wipe)
