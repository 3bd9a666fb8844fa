"""Numbers as people read them: thousands apart, four digits where they say something."""


def number(value: float) -> str:
    """3120 -> "3 120", 61.37 -> "61.37", 0.25 -> "0.25"; at most four digits below a thousand."""
    if abs(value) >= 1000.0:
        return f"{value:,.0f}".replace(",", " ")
    return f"{value:.4g}"


def quantity(value: float, unit: str) -> str:
    """A number with its unit, if it has one."""
    return f"{number(value)} {unit}".rstrip()


def margin(value: float | None) -> str:
    """A margin with its sign, two digits: "+0.42", "-6.8"; "none" where there is none."""
    return "none" if value is None else f"{value:+.2g}"
