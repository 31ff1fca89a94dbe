"""Plots as SVG text: axes with units, traces, bands and levels. One way to draw an axis, here.

Pure, and small on purpose: no library to vendor, nothing to run in the browser, the same lines on
screen, on paper and in a PDF. Colours and dashes come from presentation attributes, which a page's
style sheet may overrule by class. A plot names what it shows; its numbers belong in a table beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    Point = tuple[float, float]

MOST_POINTS = 1200
"""A trace is thinned to about this many points: a page's width."""

MARGIN_LEFT, MARGIN_RIGHT, MARGIN_TOP, MARGIN_BOTTOM = 64, 14, 12, 46
LABEL_HEIGHT = 16
NARROW = 340
"""A phone's width."""
FEWEST_ULPS = 8
"""A range of fewer floats than this has no room for ticks that differ: it is drawn as one value."""
SAME = Fraction(1, 10**9)
"""A value within this part of a step of a tick lies on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A row of points joined by a line, or stood as dots; `style` is "line", "dots" or "dashed".

    A point whose y is NaN is a gap: the line is not drawn across it.
    """

    points: Sequence[Point]
    name: str
    style: str = "line"


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A shaded stretch of one axis ("x" or "y"); an end that is None lies beyond the plot."""

    axis: str
    low: float | None
    high: float | None
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """What is drawn. Axis labels carry their unit: "time, s".

    Attributes:
        says: the plot in one sentence, for whoever does not see it.
        y_levels: values that must stay in view even when no point lies there (limits).
    """

    says: str
    x_label: str
    y_label: str
    traces: Sequence[Trace]
    bands: Sequence[Band] = ()
    y_levels: Sequence[float] = ()
    width: int = 640
    height: int = 300


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round values from `low` or below to `high` or above, in steps of 1, 2 or 5 times a power of ten.

    Counted in whole steps, exactly: as floats, steps far from zero miss their multiples and each other.

    >>> ticks(0.0, 9.3)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    if high - low < FEWEST_ULPS * math.ulp(max(abs(low), abs(high))):
        half = abs(low) / 2 or 0.5
        low, high = low - half, high + half
    rough = (high - low) / (most - 1)
    power = Fraction(10) ** math.floor(math.log10(rough))
    step = next(power * part for part in (1, 2, 5, 10) if power * part >= rough * (1 - 1e-9))
    first, last = math.floor(Fraction(low) / step + SAME), math.ceil(Fraction(high) / step - SAME)
    return [float(step * n) for n in range(first, last + 1)]


def tick_words(values: Sequence[float]) -> list[str]:
    """Ticks written with as many decimals as their step needs, and no more."""
    step = values[1] - values[0]
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return [f"{value:.{decimals}f}".replace("-", "−") for value in values]


def thinned(points: Sequence[Point], most: int = MOST_POINTS) -> list[Point]:
    """At most about `most` points that keep every stretch's lowest and highest."""
    if len(points) <= most:
        return list(points)
    size = math.ceil(len(points) * 2 / most)
    kept: list[Point] = []
    for start in range(0, len(points), size):
        piece = points[start : start + size]
        ends = {min(piece, key=lambda point: point[1]), max(piece, key=lambda point: point[1])}
        kept += sorted(ends)
    return kept


def _pieces(points: Sequence[Point]) -> list[list[Point]]:
    """The stretches between gaps."""
    pieces: list[list[Point]] = [[]]
    for point in points:
        if math.isnan(point[1]):
            pieces.append([])
        else:
            pieces[-1].append(point)
    return [piece for piece in pieces if piece]


def draw(plot: Plot, kind: str = "plot") -> str:
    """The plot as one SVG element of class `kind`.

    Raises: ValueError when there is no point to draw.
    """
    points = [point for trace in plot.traces for piece in _pieces(trace.points) for point in piece]
    if not points:
        raise ValueError("a plot needs at least one point")
    x_ticks = ticks(min(x for x, _ in points), max(x for x, _ in points), 7 if plot.width > NARROW else 5)
    ys = [y for _, y in points] + list(plot.y_levels)
    y_ticks = ticks(min(ys), max(ys), 6)
    frame = _Frame(plot, x_ticks, y_ticks)
    body = [*_bands(plot, frame), *_axes(plot, frame), *(_trace(trace, frame) for trace in plot.traces)]
    body += _legend(plot, frame)
    height = frame.full_height
    return (
        f'<svg class="{kind}" viewBox="0 0 {plot.width} {height}" width="{plot.width}" height="{height}" role="img"'
        f' aria-label="{escape(plot.says)}" xmlns="http://www.w3.org/2000/svg" font-size="12"'
        f' font-family="sans-serif" fill="currentColor">{"".join(body)}</svg>'
    )


def draw_both(plot: Plot) -> str:
    """The plot twice, wide and narrow: the page's style sheet shows the one that fits."""
    narrow = replace(plot, width=NARROW)
    return draw(plot, "plot plot-wide") + draw(narrow, "plot plot-narrow")


class _Frame:
    """Where values stand on the drawing."""

    def __init__(self, plot: Plot, x_ticks: list[float], y_ticks: list[float]) -> None:
        self.x_ticks, self.y_ticks = x_ticks, y_ticks
        self.left, self.right = MARGIN_LEFT, plot.width - MARGIN_RIGHT
        self.top, self.bottom = MARGIN_TOP, plot.height - MARGIN_BOTTOM
        named = len(plot.bands) + (len(plot.traces) if len(plot.traces) > 1 else 0)
        self.full_height = plot.height + named * LABEL_HEIGHT

    def x(self, value: float) -> float:
        low, high = self.x_ticks[0], self.x_ticks[-1]
        return round(self.left + (value - low) / (high - low) * (self.right - self.left), 2)

    def y(self, value: float) -> float:
        low, high = self.y_ticks[0], self.y_ticks[-1]
        return round(self.bottom - (value - low) / (high - low) * (self.bottom - self.top), 2)


def _axes(plot: Plot, frame: _Frame) -> Iterable[str]:
    line = '<line class="plot-rule" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="0.22"/>'
    for value, words in zip(frame.y_ticks, tick_words(frame.y_ticks), strict=True):
        y = frame.y(value)
        yield line.format(frame.left, y, frame.right, y)
        yield f'<text class="plot-tick" x="{frame.left - 7}" y="{y + 4}" text-anchor="end">{words}</text>'
    for value, words in zip(frame.x_ticks, tick_words(frame.x_ticks), strict=True):
        x = frame.x(value)
        yield line.format(x, frame.bottom, x, frame.bottom + 5)
        yield f'<text class="plot-tick" x="{x}" y="{frame.bottom + 18}" text-anchor="middle">{words}</text>'
    middle = (frame.left + frame.right) / 2
    label = '<text class="plot-label" {} text-anchor="middle">{}</text>'
    yield label.format(f'x="{middle}" y="{plot.height - 10}"', escape(plot.x_label))
    across = (frame.top + frame.bottom) / 2
    yield label.format(f'transform="translate(13 {across}) rotate(-90)"', escape(plot.y_label))


def _bands(plot: Plot, frame: _Frame) -> Iterable[str]:
    for number, band in enumerate(plot.bands, 1):
        if band.axis == "x":
            left = frame.left if band.low is None else max(frame.left, frame.x(band.low))
            right = frame.right if band.high is None else min(frame.right, frame.x(band.high))
            box = (left, float(frame.top), max(right - left, 1.5), float(frame.bottom - frame.top))
        else:
            bottom = frame.bottom if band.low is None else min(frame.bottom, frame.y(band.low))
            top = frame.top if band.high is None else max(frame.top, frame.y(band.high))
            box = (float(frame.left), top, float(frame.right - frame.left), max(bottom - top, 1.5))
        yield _box(f"plot-band plot-band-{number}", *box)


def _box(kind: str, x: float, y: float, width: float, height: float) -> str:
    return (
        f'<rect class="{kind}" x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}"'
        ' fill="currentColor" fill-opacity="0.1" stroke="currentColor" stroke-opacity="0.5" stroke-dasharray="4 3"/>'
    )


def _trace(trace: Trace, frame: _Frame) -> str:
    pieces = [[(frame.x(x), frame.y(y)) for x, y in thinned(piece)] for piece in _pieces(trace.points)]
    if trace.style == "dots":
        dots = "".join(f'<circle cx="{x}" cy="{y}" r="3.2"/>' for piece in pieces for x, y in piece)
        return f'<g class="plot-dots" fill="currentColor">{dots}</g>'
    dash = ' stroke-dasharray="6 4"' if trace.style == "dashed" else ""
    path = " ".join("M" + " L".join(f"{x},{y}" for x, y in piece) for piece in pieces)
    return (
        f'<path class="plot-trace" d="{path}" fill="none" stroke="currentColor" stroke-width="1.8"'
        f' stroke-linejoin="round" stroke-linecap="round"{dash}/>'
    )


def _legend(plot: Plot, frame: _Frame) -> Iterable[str]:
    y = float(plot.height + 2)
    for number, band in enumerate(plot.bands, 1):
        yield _box(f"plot-band plot-band-{number}", frame.left, y, 22, 10)
        yield f'<text class="plot-tick" x="{frame.left + 30}" y="{y + 10}">{escape(band.name)}</text>'
        y += LABEL_HEIGHT
    if len(plot.traces) > 1:
        for trace in plot.traces:
            yield _sample(trace, frame.left, y + 5)
            yield f'<text class="plot-tick" x="{frame.left + 30}" y="{y + 10}">{escape(trace.name)}</text>'
            y += LABEL_HEIGHT


def _sample(trace: Trace, x: float, y: float) -> str:
    if trace.style == "dots":
        return f'<g class="plot-dots" fill="currentColor"><circle cx="{x + 11}" cy="{y}" r="3.2"/></g>'
    dash = ' stroke-dasharray="6 4"' if trace.style == "dashed" else ""
    return (
        f'<line class="plot-trace" x1="{x}" y1="{y}" x2="{x + 22}" y2="{y}" stroke="currentColor"'
        f' stroke-width="1.8"{dash}/>'
    )
