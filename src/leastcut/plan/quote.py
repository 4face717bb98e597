"""The quote: labour, materials, discount, tax and deposit in exact decimals.

Every line is rounded once, half up, to the places of the currency; the net price is the sum of the
rounded lines; tax is worked out once on the net price and rounded once. So the printed lines add up
to the last digit, whatever the rates.
"""

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal

from leastcut.errors import InputError
from leastcut.plan.money import rounded
from leastcut.plan.records import Material, Minutes, Price, PriceLine, Rates

ROUNDING = (
    "Each line is rounded half up to the currency's places; "
    "tax is worked out on the net price and rounded once."
)
HUNDRED = Decimal(100)


class RatesError(InputError):
    """Rates that no quote can be made from."""


def price(
    minutes: Minutes,
    materials: Sequence[Material],
    *,
    rates: Rates,
    risks: tuple[str, ...] = (),
) -> Price:
    """Price a job.

    Parameters
    ----------
    minutes : Minutes
        Attended minutes of the job; ``rates.charge`` says which of the two is charged.
    materials : sequence of Material
        Those without a cost are not charged.
    rates : Rates
        The shop's rates.
    risks : tuple of str
        What may change the price, in plain words.

    Returns
    -------
    Price
        Lines adding up to net, net and tax to total.

    Raises
    ------
    RatesError
        If a rate is negative, a discount or deposit above 100 %, or the step below a minute.
    leastcut.plan.money.MoneyError
        If the currency is not one.
    """
    _check(rates)
    labour = _labour(minutes, rates)
    goods = _material_lines(materials, rates)
    base = [labour] if rates.discount_on == "labour" else [labour, *goods]
    lines = [labour, *goods, *_discount(base, rates)]
    net = sum((line.amount for line in lines), rounded(Decimal(0), rates.currency))
    tax = rounded(net * rates.tax_percent / HUNDRED, rates.currency)
    deposit = rounded((net + tax) * rates.deposit_percent / HUNDRED, rates.currency)
    return Price(
        currency=rates.currency,
        lines=tuple(lines),
        net=net,
        tax=tax,
        total=net + tax,
        deposit=deposit if rates.deposit_percent else None,
        rounding=ROUNDING,
        risks=risks,
        valid_until=rates.valid_until,
    )


def _check(rates: Rates) -> None:
    for name in ("labour_per_hour", "tax_percent", "discount_percent", "deposit_percent"):
        value: Decimal = getattr(rates, name)
        if not value.is_finite() or value < 0:
            raise RatesError(f"{name} is {value}", where="rates", do="Write 0 or more")
    for name in ("discount_percent", "deposit_percent"):
        if getattr(rates, name) > HUNDRED:
            raise RatesError(f"{name} is above 100 %", where="rates", do="Write 0 to 100")
    if rates.step_minutes < 1:
        raise RatesError("step_minutes is below 1", where="rates", do="Write whole minutes")


def _labour(minutes: Minutes, rates: Rates) -> PriceLine:
    """Charge whole steps of labour, rounded up."""
    worked = minutes.p50 if rates.charge == "p50" else minutes.p80
    steps = (Decimal(worked) / rates.step_minutes).to_integral_value(rounding=ROUND_CEILING)
    charged = steps * rates.step_minutes
    amount = rounded(charged * rates.labour_per_hour / 60, rates.currency)
    hours, rest = divmod(int(charged), 60)
    return PriceLine(what=f"Labour, {hours} h {rest:02d} min", amount=amount)


def _material_lines(materials: Sequence[Material], rates: Rates) -> list[PriceLine]:
    return [
        PriceLine(
            what=f"{item.name}, {_amount(item)}",
            amount=rounded(item.cost, rates.currency),
        )
        for item in materials
        if item.cost is not None
    ]


def _amount(item: Material) -> str:
    """Write an amount; what is counted in pieces needs no unit beside its name."""
    counted = item.unit in {"pads", "towels", "pieces"}
    return f"{item.amount:g}" if counted else f"{item.amount:g} {item.unit}"


def _discount(base: Sequence[PriceLine], rates: Rates) -> list[PriceLine]:
    if not rates.discount_percent:
        return []
    whole = sum((line.amount for line in base), Decimal(0))
    amount = rounded(-whole * rates.discount_percent / HUNDRED, rates.currency)
    return [PriceLine(what=f"Discount, {rates.discount_percent:f} %", amount=amount)]


def rows(price: Price) -> list[tuple[str, str, str]]:
    """Return the quote as a table of what, amount, currency: heading, lines, net, tax, total.

    A deposit stands after the total, which holds it already.
    """
    parts = [*((line.what, line.amount) for line in price.lines)]
    parts += [("Net", price.net), ("Tax", price.tax), ("Total", price.total)]
    if price.deposit is not None:
        parts.append(("Of which deposit", price.deposit))
    table = [("what", "amount", "currency")]
    return [*table, *((what, f"{amount:f}", price.currency) for what, amount in parts)]
