"""The job file's tables about the place, the last layer and the prices."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta, field

from leastcut.shop.quantities import (
    Amount,
    Amperes,
    Celsius,
    CubicMetres,
    Metres,
    MetresPerSecondSquared,
    Millilitres,
    SquareMillimetres,
    Volts,
)

Percent = Annotated[float, Meta(ge=0, le=100)]


class RoomTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The place and the person: what the safety cautions are computed from."""

    volume_m3: Annotated[CubicMetres | None, Meta(description="Volume of the room.")] = field(
        name="volume", default=None
    )
    air_changes_per_hour: Annotated[
        Annotated[float, Meta(ge=0, le=200)] | None, Meta(description="Air changes an hour.")
    ] = None
    vibration_m_s2: Annotated[
        MetresPerSecondSquared | None, Meta(description="The machine's declared vibration value.")
    ] = field(name="vibration", default=None)
    vibration_k_m_s2: Annotated[
        MetresPerSecondSquared | None, Meta(description="Its declared uncertainty K.")
    ] = field(name="vibration_k", default=None)
    noise_dba: Annotated[
        Annotated[float, Meta(ge=30, le=150)] | None,
        Meta(description="Sound level at the ear [dB(A)]."),
    ] = None
    wipe_ml: Annotated[
        Millilitres | None, Meta(description="Wipe fluid used in the day (its alcohol part).")
    ] = field(name="wipe_alcohol", default=None)
    cord_m: Annotated[Metres | None, Meta(description="Length of the extension cord.")] = field(
        name="cord", default=None
    )
    conductor_mm2: Annotated[
        SquareMillimetres | None, Meta(description="Cross-section of its conductors.")
    ] = field(name="conductor", default=None)
    conductor_awg: Annotated[
        Annotated[int, Meta(ge=4, le=22)] | None, Meta(description="Or its gauge number (AWG).")
    ] = None
    voltage_v: Annotated[Volts | None, Meta(description="Mains voltage.")] = field(
        name="voltage", default=None
    )
    circuit_a: Annotated[
        Amperes | None, Meta(description="Rating of the circuit's breaker or fuse.")
    ] = field(name="circuit", default=None)
    people: Annotated[
        Annotated[int, Meta(ge=1, le=20)],
        Meta(description="People who can polish on the same day."),
    ] = 1
    outdoors: Annotated[bool, Meta(description="Is the work done outdoors?")] = False
    current_a: Annotated[Amperes | None, Meta(description="Current of everything on the cord.")] = (
        field(name="current", default=None)
    )


class ProtectTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The last layer and the air it goes on in."""

    product: Annotated[
        Literal["wax", "sealant", "coating", "film"], Meta(description="Class of product.")
    ] = "sealant"
    air_c: Annotated[Celsius | None, Meta(description="Air temperature.")] = field(
        name="air", default=None
    )
    surface_c: Annotated[Celsius | None, Meta(description="Temperature of the panel.")] = field(
        name="surface", default=None
    )
    humidity_percent: Annotated[
        Percent | None, Meta(description="Relative humidity of the air.")
    ] = None
    air_min_c: Annotated[Celsius | None, Meta(description="Coldest air the data sheet allows.")] = (
        field(name="air_min", default=None)
    )
    air_max_c: Annotated[Celsius | None, Meta(description="Warmest air the data sheet allows.")] = (
        field(name="air_max", default=None)
    )
    humidity_max_percent: Annotated[
        Percent | None, Meta(description="Most humidity the data sheet allows.")
    ] = None
    applied: Annotated[bool, Meta(description="The last layer is on.")] = False


class PricesTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the quote is made from; left out: no price is shown."""

    currency: Annotated[
        str, Meta(description="ISO 4217 code, such as EUR or USD.", pattern="^[A-Z]{3}$")
    ]
    labour_per_hour: Annotated[Amount, Meta(description="Price of one hour of work.")]
    tax_percent: Annotated[Amount, Meta(description="Tax on the net sum [%].")] = field(
        default_factory=Amount
    )
    discount_percent: Annotated[Amount, Meta(description="Discount on labour [%].")] = field(
        default_factory=Amount
    )
    deposit_percent: Annotated[Amount, Meta(description="Deposit, of the total [%].")] = field(
        default_factory=Amount
    )
    valid_until: Annotated[str, Meta(description="Last day of the quote, as to be printed.")] = ""
    stock: Annotated[
        dict[str, float], Meta(description="What is left of a material, by its name in the plan.")
    ] = field(default_factory=dict)
    materials: Annotated[
        dict[str, Amount],
        Meta(description="Price of one unit of a material, by its name in the plan."),
    ] = field(default_factory=dict)
