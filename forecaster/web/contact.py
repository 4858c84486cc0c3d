"""The customer's telephone and mail address, from the sheet's own columns, as links for a phone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import quote

from forecaster.report.words import clean
from forecaster.season.sites import Site

PHONE_COLUMNS = ("phone", "telephone", "tel", "mobile", "cell")
MAIL_COLUMNS = ("email", "e-mail", "e_mail", "mail")
_PHONE = re.compile(r"(\+?\(?[0-9][0-9 ()./\-]{3,24}[0-9])(?:\s*(?:x|ext\.?)\s*([0-9]{1,6}))?", re.IGNORECASE)
_MAIL = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+")


@dataclass(frozen=True)
class Contact:
    """`tel` and `mail` are addresses of links, "" where the sheet has none that can be used."""

    tel: str
    mail: str
    phone_shown: str
    mail_shown: str


def contact_of(site: Site) -> Contact:
    """How to reach the customer of a site."""
    phone, mail = _cell(site, PHONE_COLUMNS), _cell(site, MAIL_COLUMNS)
    tel = tel_link(phone)
    return Contact(tel, mail_link(mail), phone if tel else "", mail if mail_link(mail) else "")


def tel_link(text: str) -> str:
    """A `tel:` link (RFC 3966), "" where the text is no one number.

    >>> tel_link("(608) 555-0142 ext 7"), tel_link("ask Ann")
    ('tel:6085550142;ext=7', '')
    """
    found = _PHONE.fullmatch(text.strip())
    if not found:
        return ""
    digits = re.sub(r"[^0-9+]", "", found[1])
    return f"tel:{digits};ext={found[2]}" if found[2] else f"tel:{digits}"


def mail_link(text: str) -> str:
    """A `mailto:` link (RFC 6068), "" where the text is no one address.

    >>> mail_link("ann+pond@example.org"), mail_link("a@example.org?bcc=b@example.org")
    ('mailto:ann%2Bpond@example.org', '')
    """
    return f"mailto:{quote(text.strip(), safe='@')}" if _MAIL.fullmatch(text.strip()) else ""


def _cell(site: Site, names: tuple[str, ...]) -> str:
    cells = {key.strip().casefold(): clean(text) for key, text in site.extra.items()}
    return next((cells[name] for name in names if cells.get(name)), "")
