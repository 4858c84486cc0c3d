"""Whom the weather data ask to name, as the last lines of a text."""

from __future__ import annotations

from collections.abc import Sequence

from forecaster.report.table import ascii_only, wrapped
from forecaster.report.words import clean


def credit_lines(credits: Sequence[str], *, unicode: bool = True, width: int = 100) -> str:
    """One sentence each, ending in a newline; "" where nobody asks to be named.

    >>> credit_lines(["Outlook: MET Norway (api.met.no), CC BY 4.0."])
    'Outlook: MET Norway (api.met.no), CC BY 4.0.\\n'
    """
    lines = [row for credit in credits for row in wrapped(clean(credit), width=width)]
    text = "".join(f"{line}\n" for line in lines)
    return text if unicode else ascii_only(text)
