"""Prices: an amount and a currency of ISO 4217."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from functools import cache

# Signs that stand for one currency alone. "$" is that of two dozen countries and is
# left unsaid; so are "kr" and "¥".
SIGNS = {"€": "EUR", "£": "GBP", "₹": "INR", "₽": "RUB", "₩": "KRW", "₴": "UAH", "₺": "TRY"}
# More than any engine costs: whatever is more is a slip. Chosen.
MOST = Decimal(10**9)
_PLAIN = re.compile(r"\d{1,12}(\.\d{1,6})?")


@cache
def _codes() -> frozenset[str]:
    from babel.numbers import list_currencies

    return frozenset(list_currencies())


def currency_of(text: str) -> str:
    """Return a currency's ISO 4217 code, or nothing where it is none.

    Examples
    --------
    >>> currency_of("eur"), currency_of("£"), currency_of("$"), currency_of("EURO")
    ('EUR', 'GBP', '', '')
    """
    text = text.strip()
    code = SIGNS.get(text, text.upper())
    return code if re.fullmatch(r"[A-Z]{3}", code) and code in _codes() else ""


def read_price(amount: str, currency: str = "") -> tuple[Decimal | None, str, tuple[str, ...]]:
    """Read a price as people and programs write it.

    Parameters
    ----------
    amount : str
        "120", "1000.00", "1.234,50 €", "£120". Figures with one point and no sign are
        taken as schema.org writes them: the point is decimal.
    currency : str
        Code or sign from elsewhere; goes before a sign in `amount`.

    Returns
    -------
    amount : Decimal or None
    currency : str
        ISO 4217, or empty.
    notes : tuple of str
        What could not be read.
    """
    notes = []
    code = currency_of(currency)
    if currency.strip() and not code:
        notes.append(f'currency "{currency.strip()[:20]}" is not a code of ISO 4217')
    amount = amount.strip()
    if not amount:
        return None, code, tuple(notes)
    value, sign = _amount(amount)
    if value is None or not 0 <= value < MOST:
        notes.append(f'price "{amount[:20]}" is not an amount')
        value = None
    return value, code or currency_of(sign), tuple(notes)


def _amount(text: str) -> tuple[Decimal | None, str]:
    # `Price.fromstring` would take 1.234 for a thousand; a machine means a decimal point.
    if _PLAIN.fullmatch(text):
        try:
            return Decimal(text), ""
        except InvalidOperation:
            return None, ""
    if text.startswith("-"):
        return None, ""
    from price_parser import Price

    price = Price.fromstring(text[:80])
    return price.amount, price.currency or ""


def precision(currency: str) -> int:
    """Decimal places in which a currency is counted (ISO 4217's minor unit)."""
    from babel.numbers import get_currency_precision

    return get_currency_precision(currency)


def write_price(amount: Decimal, currency: str) -> str:
    """Return a price for people: figures with the currency's own decimals, and its code.

    Examples
    --------
    >>> write_price(Decimal("1234.5"), "EUR"), write_price(Decimal("1234"), "JPY")
    ('1,234.50 EUR', '1,234 JPY')
    """
    places = precision(currency) if currency else 2
    return f"{amount:,.{places}f} {currency}".rstrip()
