"""A picture of looked-up places, on which somebody who knows the town can confirm them."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

import numpy as np

from forecaster.season.coordinates import FoundPlace


def map_svg(places: Sequence[FoundPlace], known: Sequence[tuple[float, float]] = ()) -> str:
    """The picture: found places with their ids, questioned ones hollow, those of the sheet small.

    Equirectangular, north up; no background, because a map's tiles would have to be fetched.
    """
    shown = [(place, place.spot) for place in places if place.spot is not None]
    spots = [*known, *(spot for _, spot in shown)]
    width, height, edge = 800, 600, 60
    lat, lon = np.array(spots or [(0.0, 0.0)]).T
    stretch = float(np.cos(np.radians(lat.mean())))
    x, y = lon * stretch, lat
    span = max(float(np.ptp(x)) / (width - 2 * edge), float(np.ptp(y)) / (height - 2 * edge), 1e-5)

    def on_page(latitude: float, longitude: float) -> tuple[float, float]:
        across = (longitude * stretch - float(x.min() + x.max()) / 2) / span + width / 2
        down = height / 2 - (latitude - float(y.min() + y.max()) / 2) / span
        return round(across, 1), round(down, 1)

    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        'aria-label="Places found for addresses">',
        '<rect width="100%" height="100%" fill="#fff"/>',
        '<text x="20" y="30" font-family="sans-serif" font-size="16" fill="#222">'
        "Filled: found. Hollow: please check. Small: in the sheet already. North is up.</text>",
    ]
    for spot in known:
        across, down = on_page(*spot)
        lines.append(f'<circle cx="{across}" cy="{down}" r="3" fill="#777"/>')
    for place, spot in shown:
        across, down = on_page(*spot)
        fill = "#fff" if place.question else "#1b6e9c"
        title = escape(f"{place.site_id}: {place.matched_address or place.address}. {place.question}")
        lines += [
            f"<g><title>{title}</title>",
            f'<circle cx="{across}" cy="{down}" r="7" fill="{fill}" stroke="#1b6e9c" stroke-width="2"/>',
            f'<text x="{across + 11:g}" y="{down + 5:g}" font-family="sans-serif" font-size="13" fill="#222">'
            f"{escape(place.site_id)}</text></g>",
        ]
    return "\n".join([*lines, "</svg>"]) + "\n"
