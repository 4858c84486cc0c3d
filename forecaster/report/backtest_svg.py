"""Charts of the backtest as inline SVG: classes only, whole-number text sizes, readable without colour.

Each drawing carries a title and a sentence for who cannot see it; the numbers stand in tables beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from forecaster.backtest.summary import Reliability

WIDTH, HEIGHT = 340, 220
LEFT, RIGHT, TOP, BOTTOM = 44, 10, 12, 40
MOST_IN_A_ROW = 6
"""More names than this below a picture stand in two rows."""


@dataclass(frozen=True)
class Bar:
    """One value with its bounds; `label` stands below or beside it."""

    label: str
    value: float
    low: float | None = None
    high: float | None = None
    strong: bool = False


class _Frame:
    """Pixels of a chart whose y axis runs from `low` to `high`."""

    def __init__(self, low: float, high: float) -> None:
        self.low, self.high = low, high

    def y(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM), 1)

    def x(self, share: float) -> float:
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    def axis(self, ticks: Sequence[float], words: Sequence[str]) -> str:
        lines = "".join(f'<path class="grid" d="M{LEFT} {self.y(t)}H{WIDTH - RIGHT}"/>' for t in ticks)
        marks = "".join(
            f'<text class="tick" x="{LEFT - 6}" y="{self.y(t) + 4}" text-anchor="end">{escape(word)}</text>'
            for t, word in zip(ticks, words, strict=True)
        )
        return lines + marks


def _svg(title: str, description: str, body: str, *, width: int = WIDTH, height: int = HEIGHT) -> str:
    return (
        f'<svg class="chart" viewBox="0 0 {width} {height}" role="img"><title>{escape(title)}</title>'
        f"<desc>{escape(description)}</desc>{body}</svg>"
    )


def bars_chart(
    bars: Sequence[Bar], *, title: str, description: str, aim: float, low: float, high: float
) -> str:
    """Points with whiskers over the as-of days, and a line at what is aimed at."""
    frame = _Frame(low, high)
    ticks = [round(float(t), 2) for t in np.linspace(low, high, 6)]
    body = frame.axis(ticks, [f"{t:g}" for t in ticks])
    body += f'<path class="aim" d="M{LEFT} {frame.y(aim)}H{WIDTH - RIGHT}"/>'
    for number, bar in enumerate(bars):
        x = frame.x((number + 0.5) / len(bars))
        if bar.low is not None and bar.high is not None:
            body += f'<path class="whisker" d="M{x} {frame.y(bar.low)}V{frame.y(bar.high)}"/>'
        mark = "point strong" if bar.strong else "point"
        body += f'<circle class="{mark}" cx="{x}" cy="{frame.y(bar.value)}" r="4"/>'
        low_row = len(bars) > MOST_IN_A_ROW and number % 2
        body += _below(x, bar.label, HEIGHT - (8 if low_row else 22))
    return _svg(title, description, body)


def reliability_chart(reliability: Reliability, *, title: str, description: str) -> str:
    """Forecast chance against what happened; whiskers: what right chances would show; numbers: cases."""
    frame = _Frame(0.0, 1.0)
    ticks = [0.0, 0.25, 0.5, 0.75, 1.0]
    body = frame.axis(ticks, [f"{t:.0%}" for t in ticks])
    body += "".join(_below(frame.x(t), f"{t:.0%}", HEIGHT - 22) for t in ticks[:-1])
    body += f'<text class="tick" x="{frame.x(1)}" y="{HEIGHT - 22}" text-anchor="end">100%</text>'
    body += f'<path class="aim" d="M{frame.x(0)} {frame.y(0)}L{frame.x(1)} {frame.y(1)}"/>'
    bins = reliability.bins
    chance, seen = bins.mean_chance(), bins.observed_share()
    for at in range(len(bins.count)):
        if not bins.count[at]:
            continue
        x = frame.x(float(chance[at]))
        outside = not reliability.low[at] <= seen[at] <= reliability.high[at]
        body += (
            f'<path class="whisker" d="M{x} {frame.y(float(reliability.low[at]))}'
            f'V{frame.y(float(reliability.high[at]))}"/>'
            f'<circle class="{"point off" if outside else "point"}" cx="{x}" '
            f'cy="{frame.y(float(seen[at]))}" r="4"/>'
            + _below(x, _thousands(bins.count[at]), HEIGHT - 6, mark="count")
        )
    return _svg(title, description, body)


def histogram_chart(shares: np.ndarray, *, title: str, description: str) -> str:
    """Shares of tenths as columns, with a line where all would be equal."""
    top = max(0.2, float(shares.max()) * 1.1)
    frame = _Frame(0.0, top)
    ticks = [0.0, 0.05, 0.1, 0.15, 0.2]
    body = frame.axis(ticks, [f"{t:.0%}" for t in ticks])
    step = 1.0 / len(shares)
    for number, share in enumerate(shares):
        x, y = frame.x(number * step + 0.1 * step), frame.y(float(share))
        width = round(frame.x(0.8 * step) - frame.x(0.0), 1)
        body += f'<rect class="column" x="{x}" y="{y}" width="{width}" height="{round(frame.y(0) - y, 1)}"/>'
    body += f'<path class="aim" d="M{LEFT} {frame.y(step)}H{WIDTH - RIGHT}"/>'
    for share, word in ((0.0, "earlier than all"), (1.0, "later than all")):
        anchor = "start" if share == 0.0 else "end"
        body += (
            f'<text class="tick" x="{frame.x(share)}" y="{HEIGHT - 22}" text-anchor="{anchor}">{word}</text>'
        )
    return _svg(title, description, body)


def money_chart(bars: Sequence[Bar], *, title: str, description: str) -> str:
    """One line a policy: a bar from 0, its whisker, its dollars."""
    row, name_width, width = 30, 0, 640
    height = 14 + row * len(bars)
    top = max([bar.high or bar.value for bar in bars] + [1.0])
    body = ""
    for number, bar in enumerate(bars):
        y = 8 + row * number
        length = round((width - name_width - 70) * bar.value / top, 1)
        body += f'<text class="name" x="0" y="{y + 9}">{escape(bar.label)}</text>'
        mark = "column strong" if bar.strong else "column"
        body += f'<rect class="{mark}" x="0" y="{y + 13}" width="{max(length, 1)}" height="8"/>'
        if bar.low is not None and bar.high is not None:
            a, b = (round((width - 70) * edge / top, 1) for edge in (bar.low, bar.high))
            body += f'<path class="whisker" d="M{a} {y + 17}H{b}"/>'
            length = max(length, b)
        body += f'<text class="tick" x="{length + 6}" y="{y + 21}">{bar.value:.0f}</text>'
    return _svg(title, description, body, width=width, height=height)


def _below(x: float, text: str, y: float, *, mark: str = "tick") -> str:
    return f'<text class="{mark}" x="{x}" y="{y}" text-anchor="middle">{escape(text)}</text>'


def _thousands(count: float) -> str:
    return f"{count:.0f}" if count < 10_000 else f"{count / 1000:.0f}k"
