"""The solvents of the trade as data: what their sheets say, and where that was read."""

from leastcut.errors import InputError
from leastcut.safety.check import within
from leastcut.safety.records import Solvent

SOLVENTS: tuple[Solvent, ...] = (
    Solvent(
        id="isopropanol",
        name="isopropyl alcohol",
        molar_mass_g_mol=60.1,
        density_g_ml=0.785,
        lel_percent=2.0,
        limit_ppm=400.0,
        short_limit_ppm=500.0,
        flash_point_c=11.7,
        autoignition_c=399.0,
        source="NIOSH Pocket Guide npgd0359; density and autoignition from memory",
    ),
    Solvent(
        id="white-spirit",
        name="mineral spirits (Stoddard solvent)",
        molar_mass_g_mol=140.0,
        density_g_ml=0.78,
        lel_percent=0.6,
        limit_ppm=60.0,
        short_limit_ppm=310.0,
        flash_point_c=39.0,
        autoignition_c=230.0,
        source="OSHA CH_268000, NIOSH REL as ppm; molar mass, density, LEL, autoignition "
        "from memory",
    ),
    Solvent(
        id="naphtha",
        name="petroleum distillates (naphtha)",
        molar_mass_g_mol=99.0,
        density_g_ml=0.66,
        lel_percent=1.1,
        limit_ppm=86.0,
        short_limit_ppm=444.0,
        flash_point_c=-40.0,
        autoignition_c=230.0,
        source="NIOSH Pocket Guide npgd0492, REL 350 and 1800 mg/m3; autoignition from memory",
    ),
)


class SolventError(InputError):
    """A solvent that is not in the table."""


def solvent(name: str) -> Solvent:
    """Return the solvent called `name`.

    Raises
    ------
    SolventError
        If it is not in the table.

    Examples
    --------
    >>> solvent("isopropanol").lel_percent
    2.0
    """
    for entry in SOLVENTS:
        if entry.id == name:
            return entry
    known = ", ".join(entry.id for entry in SOLVENTS)
    raise SolventError(
        f"unknown solvent {name!r}", where="solvent", do=f"Choose one of {known}, or see its sheet"
    )


def check(own: Solvent) -> Solvent:
    """Return a solvent typed from a data sheet, if its figures can be true.

    Raises
    ------
    ExposureError
        If a figure is out of range.

    Examples
    --------
    >>> check(solvent("isopropanol")).id
    'isopropanol'
    """
    within("molar mass", own.molar_mass_g_mol, 10.0, 1000.0, unit="g/mol")
    within("density", own.density_g_ml, 0.3, 3.0, unit="g/ml")
    within("lower explosive limit", own.lel_percent, 0.1, 80.0, unit="%")
    for name, ppm in (("limit", own.limit_ppm), ("15 min limit", own.short_limit_ppm)):
        if ppm is not None:
            within(name, ppm, 1e-3, 1e5, unit="ppm")
    return own
