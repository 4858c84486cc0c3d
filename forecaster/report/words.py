"""Numbers in words: chances, temperatures, dates, money, ages. The same words on screens, pages and sheets.

Never more than two figures of a chance, spread before decimals, "never reached" always in words. All
dates are local calendar days; names of days and months do not depend on the machine's language.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable
from datetime import date, timedelta

from forecaster.falls import fall_end
from forecaster.units import c_step_to_f, c_to_f

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

Z_80 = 1.2816
"""Half width of the middle 80 % of a normal distribution, in standard deviations (any normal table)."""

NOT_KNOWN = "not known"
"""Said where the program refuses a number; the reason stands in the warnings."""

FRACTIONS = (
    *((1, n) for n in (100, 80, 60, 50, 40, 30, 25, 20, 15, 12, 10, 9, 8, 7, 6, 5, 4)),
    *((3, 10), (1, 3), (4, 10), (1, 2), (6, 10), (2, 3), (7, 10), (3, 4), (8, 10), (5, 6), (7, 8), (9, 10)),
    *((19, 20), (97, 100), (98, 100), (99, 100)),
)
"""The chances that have a name, (of, in): a chance is called by the nearest one."""


# --- chances


def odds(p: float) -> str:
    """Chance `p` (0-1) as the nearest plain fraction; the ends are never called 0 or certain.

    Raises:
        ValueError: `p` is not a number from 0 to 1.
    Example:
        >>> odds(0.12), odds(0.9), odds(0.0), odds(1.0)
        ('1 in 8', '9 in 10', 'less than 1 in 100', 'more than 99 in 100')
    """
    _check(p)
    if p < 0.01:
        return "less than 1 in 100"
    if p > 0.99:
        return "more than 99 in 100"
    top, bottom = min(FRACTIONS, key=lambda fraction: abs(fraction[0] / fraction[1] - p))
    return f"{top} in {bottom}"


def percent(p: float | None) -> str:
    """Chance `p` (0-1) as a whole number of percent; "-" where it is not known.

    >>> percent(0.124), percent(0.004), percent(0.996), percent(None)
    ('12 %', '<1 %', '>99 %', '-')
    """
    if p is None:
        return "-"
    _check(p)
    if p < 0.01:
        return "<1 %"
    return ">99 %" if p > 0.99 else f"{p * 100:.0f} %"


def chance(p: float | None) -> str:
    """Chance `p` (0-1) both ways, for a sentence.

    >>> chance(0.12), chance(0.002), chance(None)
    ('1 in 8 (12 %)', 'less than 1 in 100', 'not known')
    """
    if p is None:
        return NOT_KNOWN
    return odds(p) if p < 0.01 or p > 0.99 else f"{odds(p)} ({percent(p)})"


def never_reached(p_not_reached: float | None, fall: int) -> str:
    """The share of falls in which the day never comes, "" where that share is 0 or not known.

    >>> never_reached(0.08, 2025), never_reached(0.0, 2025)
    ('8 % of falls: not by 31 Jan', '')
    """
    if not p_not_reached:
        return ""
    share = percent(p_not_reached).replace("<", "less than ").replace(">", "more than ")
    return f"{share} of falls: not by {day_month(fall_end(fall))}"


def _check(p: float) -> None:
    if not 0.0 <= p <= 1.0:
        raise ValueError(f"{p!r} is not a probability (0 to 1)")


# --- temperatures


def degrees(temperature_c: float, units: str) -> str:
    """A temperature [°C] in the reader's unit, whole degrees.

    >>> degrees(10.0, "us"), degrees(10.0, "metric")
    ('50 °F', '10 °C')
    """
    return f"{_shown(temperature_c, units):.0f} {unit_of(units)}"


def limit(temperature_c: float, units: str) -> str:
    """A limit of the settings [°C] in the reader's unit: one decimal in °C, because 45 °F is 7.2 °C.

    >>> limit(65 / 9, "us"), limit(65 / 9, "metric")
    ('45 °F', '7.2 °C')
    """
    if units == "metric":
        return f"{temperature_c + 0.0:.1f} °C"
    return f"{c_to_f(temperature_c):.1f}".removesuffix(".0") + " °F"


def unit_of(units: str) -> str:
    """Sign of the reader's temperature unit.

    >>> unit_of("metric")
    '°C'
    """
    return "°C" if units == "metric" else "°F"


def about(mean_c: float | None, sd_c: float | None, units: str) -> str:
    """A water temperature [°C] with the range that holds 8 chances in 10; never below freezing.

    >>> about(11.1, 1.3, "us"), about(11.1, 1.3, "metric"), about(None, None, "us")
    ('about 52 °F (49 to 55)', 'about 11 °C (9 to 13)', 'not known')
    """
    if mean_c is None:
        return NOT_KNOWN
    middle = f"about {degrees(mean_c, units)}"
    if sd_c is None:
        return middle
    low, high = (_shown(max(0.0, mean_c + z * sd_c), units) for z in (-Z_80, Z_80))
    return middle if f"{low:.0f}" == f"{high:.0f}" else f"{middle} ({low:.0f} to {high:.0f})"


def plus_minus(mean_c: float | None, sd_c: float | None, units: str) -> str:
    """The same for a narrow column whose head carries the unit.

    >>> plus_minus(11.1, 1.3, "us"), plus_minus(None, None, "us")
    ('52 ±3', '-')
    """
    if mean_c is None:
        return "-"
    middle = f"{_shown(mean_c, units):.0f}"
    if sd_c is None:
        return middle
    spread_c = Z_80 * sd_c
    spread = spread_c if units == "metric" else c_step_to_f(spread_c)
    return f"{middle} ±{max(1.0, spread):.0f}"


def _shown(temperature_c: float, units: str) -> float:
    shown = temperature_c if units == "metric" else c_to_f(temperature_c)
    return round(shown) + 0.0  # no "-0"


# --- dates


def day_month(day: date | None) -> str:
    """A day of the season, "-" for none.

    >>> day_month(date(2025, 10, 14))
    '14 Oct'
    """
    return "-" if day is None else f"{day.day} {MONTHS[day.month - 1]}"


def weekday_date(day: date | None, *, year: bool = False) -> str:
    """A day with its weekday, and its year where the line is the first to name it.

    >>> weekday_date(date(2025, 10, 14)), weekday_date(date(2025, 10, 14), year=True)
    ('Tue 14 Oct', 'Tue 14 Oct 2025')
    """
    if day is None:
        return "-"
    text = f"{WEEKDAYS[day.weekday()]} {day_month(day)}"
    return f"{text} {day.year}" if year else text


def window(start: date | None, end: date | None, *, dash: str = "-") -> str:
    """First to last day, the month once where it is the same.

    >>> window(date(2025, 10, 14), date(2025, 10, 22)), window(date(2025, 10, 28), date(2025, 11, 3))
    ('14-22 Oct', '28 Oct-3 Nov')
    """
    if start is None or end is None:
        return "-"
    if start == end:
        return day_month(start)
    first = f"{start.day}" if (start.year, start.month) == (end.year, end.month) else day_month(start)
    return f"{first}{dash}{day_month(end)}"


def crossing(
    p10: date | None, p50: date | None, p90: date | None, *, fall: int, p_not_reached: float | None = None
) -> str:
    """The day by which half the falls have come to it, and the days that hold 8 falls in 10.

    >>> oct14, oct28, nov9 = date(2025, 10, 14), date(2025, 10, 28), date(2025, 11, 9)
    >>> crossing(oct14, oct28, nov9, fall=2025)
    '28 Oct (14 Oct to 9 Nov)'
    >>> crossing(oct14, oct28, None, fall=2025, p_not_reached=0.2)
    '28 Oct (14 Oct to later than 31 Jan); 20 % of falls: not by 31 Jan'
    >>> crossing(None, None, None, fall=2025), crossing(oct14, None, None, fall=2025, p_not_reached=0.6)
    ('not by 31 Jan', '60 % of falls: not by 31 Jan (1 fall in 10 by 14 Oct)')
    """
    last = day_month(fall_end(fall))
    never = never_reached(p_not_reached, fall)
    if p50 is None:
        return (never or f"not by {last}") + (f" (1 fall in 10 by {day_month(p10)})" if p10 else "")
    text = f"{day_month(p50)} ({day_month(p10)} to {day_month(p90) if p90 else f'later than {last}'})"
    return f"{text}; {never}" if never else text


def crossing_short(p10: date | None, p50: date | None, p90: date | None) -> str:
    """The same for a narrow column: the middle day and its range, "later" beyond the season.

    >>> crossing_short(date(2025, 10, 14), date(2025, 10, 28), None), crossing_short(None, None, None)
    ('28 Oct (14 Oct-later)', 'not this season')
    """
    if p50 is None:
        return "not this season"
    return f"{day_month(p50)} ({window(p10, p90) if p90 else f'{day_month(p10)}-later'})"


def weather_age(last_days: Iterable[date], as_of: date) -> str:
    """Up to which day the weather is observed, and how old that is on the as-of morning.

    >>> weather_age([date(2025, 10, 4)], date(2025, 10, 5))
    'weather to 4 Oct'
    >>> weather_age([date(2025, 10, 4), date(2025, 10, 1)], date(2025, 10, 5))
    'weather to 4 Oct, at one station only to 1 Oct, 3 days old'
    """
    days = sorted(last_days)
    if not days:
        return "no weather station"
    text = f"weather to {day_month(days[-1])}"
    late = [day for day in days if day < days[-1]]
    if late:
        stations = "one station" if len(late) == 1 else f"{len(late)} stations"
        text += f", at {stations} only to {day_month(late[0])}"
    age = (as_of - timedelta(days=1) - days[0]).days
    return f"{text}, {count(age, 'day')} old" if age >= 1 else text


# --- counts, money, names


def count(number: int, noun: str) -> str:
    """A number with its noun, thousands parted.

    >>> count(1, "site"), count(1500, "fall")
    ('1 site', '1,500 falls')
    """
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def dollars(amount: float | None) -> str:
    """Money in whole dollars.

    >>> dollars(1240.4), dollars(0.2), dollars(0.0), dollars(None)
    ('$1,240', 'under $1', '$0', '-')
    """
    if amount is None:
        return "-"
    if math.isnan(amount) or math.isinf(amount):
        raise ValueError(f"{amount!r} is not an amount of money")
    if 0 < amount < 0.5:
        return "under $1"
    whole = round(amount)
    return f"-${-whole:,}" if whole < 0 else f"${whole:,}"


def hours(amount_h: float) -> str:
    """Hours [h] with one decimal.

    >>> hours(6.25), hours(1.0)
    ('6.2 hours', '1 hour')
    """
    text = f"{amount_h:.1f}".removesuffix(".0")
    return f"{text} hour" if text == "1" else f"{text} hours"


def listed(names: Iterable[str], *, at_most: int = 12) -> str:
    """Names in a sentence; a cut list says so.

    >>> listed(["A", "B", "C"], at_most=2)
    'A, B and 1 more'
    """
    every = list(names)
    if len(every) <= at_most:
        return ", ".join(every)
    return f"{', '.join(every[:at_most])} and {len(every) - at_most} more"


def clean(text: str) -> str:
    """A user's text on one line: control and direction characters out, white space single.

    A name must not be able to move the cursor, clear a screen or turn a line around.

    >>> clean("Pond\\x1b[2J  of\\nHazel")
    'Pond [2J of Hazel'
    """
    safe = (" " if unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp") else sign for sign in text)
    return " ".join("".join(safe).split())
