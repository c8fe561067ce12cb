"""Numbers and directions in words, the same in every scene."""

from typing import SupportsFloat

SHOWN = 0.05  # cm or degrees: what is less is written as 0.0


def number(value: SupportsFloat, digits: int = 1) -> str:
    """A number with a true minus sign, such as "−0.5"; zero has no sign."""
    return f"{float(value):z.{digits}f}".replace("-", "−")


def signed(value: SupportsFloat, digits: int = 0, unit: str = "°") -> str:
    """A number whose sign tells a direction: "+12°", "−3°"; zero has no sign."""
    plus = "+" if round(float(value), digits) > 0 else ""
    return f"{plus}{number(value, digits)}{unit}"


def directed(
    value: SupportsFloat, plus: str, minus: str, zero: str | None = None, unit: str = " cm"
) -> str:
    """A size and a direction, such as "3.2 cm ahead"; `zero`, if given, for what rounds to it."""
    number = float(value)
    if zero is not None and abs(number) < SHOWN:
        return zero
    return f"{abs(number):.1f}{unit} {minus if number <= -SHOWN else plus}"


def percent(share: SupportsFloat) -> str:
    """A share of one as whole percents, such as "71 %"."""
    return f"{100 * float(share):.0f} %"


def capital(text: str) -> str:
    """A text whose first letter is a capital; `str.capitalize` lowers all others."""
    return text[:1].upper() + text[1:]
