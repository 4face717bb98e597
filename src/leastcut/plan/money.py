"""Money: decimals with as many places as the currency has, rounded half up, exact sums.

Rounding half up is what a tax office asks for: "less than 0.5 of one penny … rounded down; 0.5 of
one penny or more … rounded up" (HMRC internal manual VATREC12030; status: seen).
"""

import re
from decimal import ROUND_HALF_UP, Decimal, localcontext

from leastcut.errors import InputError

# Places after the decimal point where they are not two: ISO 4217 list one. Those of none and three
# agree with an open table of the codes (status: seen); UGX, CLF and UYW are from memory.
_ZERO = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"
_THREE = "BHD IQD JOD KWD LYD OMR TND"
_FOUR = "CLF UYW"
_PLACES = {
    code: places
    for codes, places in ((_ZERO, 0), (_THREE, 3), (_FOUR, 4))
    for code in codes.split()
}


class MoneyError(InputError):
    """An amount or a currency code that cannot be used."""


def places(currency: str) -> int:
    """Return how many decimal places a currency has (ISO 4217 exponent).

    Raises
    ------
    MoneyError
        If `currency` is not three capital letters.

    Examples
    --------
    >>> places("EUR"), places("JPY"), places("KWD")
    (2, 0, 3)
    """
    if not re.fullmatch("[A-Z]{3}", currency):
        raise MoneyError(
            f"{currency!r} is not a currency code", do="Write an ISO 4217 code such as EUR"
        )
    return _PLACES.get(currency, 2)


def rounded(amount: Decimal, currency: str) -> Decimal:
    """Return an amount rounded half up to what can be paid in `currency`.

    Raises
    ------
    MoneyError
        If the amount is not finite or the currency unknown.

    Examples
    --------
    >>> rounded(Decimal("2.345"), "EUR"), rounded(Decimal("-2.345"), "EUR")
    (Decimal('2.35'), Decimal('-2.35'))
    """
    if not amount.is_finite():
        raise MoneyError(f"{amount} is not an amount of money", do="Write a number")
    with localcontext() as context:
        context.prec = 60
        return amount.quantize(Decimal(1).scaleb(-places(currency)), rounding=ROUND_HALF_UP)
