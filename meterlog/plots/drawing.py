"""Plots as SVG text: axes with units, traces, bands, spans and their legend. One way to draw an axis, here.

Pure, and small on purpose: no library to vendor, nothing to run in the browser, the same lines on
screen, on paper and in a PDF. Shapes, dashes and the colours of paper come from presentation attributes;
a page's style sheet overrules them by class, and a file that stands alone brings one with it. No word stands among
the lines: stretches of x are named above the frame, everything else in the legend.
A plot names what it shows; its numbers belong in a table beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from html import escape
from textwrap import wrap
from typing import TYPE_CHECKING

from meterlog.plots.ticks import tick_words, ticks

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    Point = tuple[float, float]

MOST_POINTS = 1200
"""A trace is thinned to about this many points: a page's width."""

MARGIN_RIGHT, MARGIN_TOP, MARGIN_BOTTOM = 14, 12, 46
BESIDE_TICKS = 37
"""Room left of the frame beside the ticks' words: the axis's name, and a little air."""
TEXT, TITLE = 12, 14
"""Heights of letters."""
WIDEST, WIDEST_BOLD = 0.58, 0.68
"""Width of a letter in parts of its height, reckoned generously: nothing here can measure text."""
LINE = 16
"""Height of a line of text."""
SAMPLE = 22
"""Width of a sample in the legend."""
NARROW = 320
"""A phone's width, less a page's margins."""

MEASURED, FITTED, MARKED = "#1c3f94", "#17594e", "#8a3b00"
"""Colours on white: of readings, of lines through them, of what is marked out."""
STYLES = {
    "line": f'stroke="{MEASURED}" stroke-width="1.8"',
    "dotted": f'stroke="{MEASURED}" stroke-width="2.2" stroke-dasharray="0.1 4.5"',
    "fitted": f'stroke="{FITTED}" stroke-width="7" stroke-opacity="0.5"',
    "dashed": f'stroke="{FITTED}" stroke-width="1.8" stroke-dasharray="6 4"',
    "span": f'stroke="{MARKED}" stroke-width="2.2"',
}
"""How each style of trace but "dots" is stroked. A fitted line is broad and lies below; a span is a bar with ends."""

ALONE = """
.plot { max-width: 100%; height: auto; color: #17211f; }
@media screen and (prefers-color-scheme: dark) {
  .plot { color: #e9efe9; } .plot-ground { fill: #151e22; }
  .plot-trace { stroke: #a9c2ff; } .plot-dots { fill: #a9c2ff; }
  .plot-fitted, .plot-dashed { stroke: #8fc6b5; }
  .plot-span, .plot-band { stroke: #ffb37a; } .plot-band { fill: #ffb37a; } }
"""
"""The style of a file that stands alone, on screens of either scheme and on paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A row of points joined by a line, or stood as "dots"; `style` is that or a key of `STYLES`.

    A point whose y is NaN is a gap: the line is not drawn across it. Traces of one name and style stand in
    the legend once, one without a name never.
    """

    points: Sequence[Point]
    name: str
    style: str = "line"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotBand:
    """A stretch of one axis ("x" or "y"), shaded or only named; an end that is None lies beyond the plot."""

    axis: str
    low: float | None
    high: float | None
    name: str
    is_shaded: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """What is drawn. Axis labels carry their unit: "time, s".

    Attributes:
        says: the plot in one sentence, for whoever does not see it; `tells` more, if there is more.
        title: drawn above it, wrapped; "" for none.
        y_levels: values that must stay in view even when no point lies there (limits).
        counts_x: x counts things, so that only whole numbers are ticks.
        height: without title, names and legend.
    """

    says: str
    x_label: str
    y_label: str
    traces: Sequence[Curve]
    bands: Sequence[PlotBand] = ()
    y_levels: Sequence[float] = ()
    title: str = ""
    tells: str = ""
    counts_x: bool = False
    width: int = 640
    height: int = 300


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


def draw_both(plot: Plot) -> str:
    """The plot twice, wide and narrow: the page's style sheet shows the one that fits."""
    return draw(plot, "plot plot-wide") + draw(replace(plot, width=NARROW), "plot plot-narrow")


def draw_alone(plot: Plot) -> str:
    """The plot as a file of its own, with its style and ground; narrow, so that a phone need not be squinted at."""
    ground = f'<style>{ALONE}</style><rect class="plot-ground" width="100%" height="100%" fill="#fff"/>'
    return draw(replace(plot, width=NARROW), "plot", enlarged=1.6, before=ground) + "\n"


def draw(plot: Plot, kind: str = "plot", *, enlarged: float = 1.0, before: str = "") -> str:
    """The plot as one SVG element of class `kind`. Raises: ValueError when there is no point to draw."""
    frame = _Frame(plot)
    body = [before, *_title(plot), *_bands(plot, frame), *_axes(plot, frame)]
    body += [_trace(trace, frame) for trace in sorted(plot.traces, key=lambda trace: trace.style != "fitted")]
    body += _legend(frame)
    told = f"<title>{escape(plot.says)}</title>" + (f"<desc>{escape(plot.tells)}</desc>" if plot.tells else "")
    return (
        f'<svg class="{kind}" viewBox="0 0 {plot.width} {frame.full_height}" width="{plot.width * enlarged:g}"'
        f' height="{frame.full_height * enlarged:g}" role="img" xmlns="http://www.w3.org/2000/svg"'
        f' font-size="{TEXT}" font-family="sans-serif" fill="currentColor">{told}{"".join(body)}</svg>'
    )


def _wide(words: str) -> float:
    """The most that a text takes of a line."""
    return WIDEST * TEXT * len(words)


class _Frame:
    """Where values stand on the drawing, and what stands in its legend.

    Raises: ValueError when there is no point to draw.
    """

    def __init__(self, plot: Plot) -> None:
        points = [point for trace in plot.traces for piece in _pieces(trace.points) for point in piece]
        if not points:
            raise ValueError("a plot needs at least one point")
        ys = [y for _, y in points] + list(plot.y_levels)
        self.x_ticks, self.first, self.last = _within([x for x, _ in points], 7 if plot.width > NARROW else 5)
        if plot.counts_x:
            self.x_ticks = [tick for tick in self.x_ticks if tick == round(tick)]
        self.y_ticks = ticks(min(ys), max(ys), 6)
        self.left = round(BESIDE_TICKS + max(map(_wide, tick_words(self.y_ticks))))
        self.right = round(plot.width - max(MARGIN_RIGHT, max(map(_wide, tick_words(self.x_ticks))) / 2 + 2))
        self.top = MARGIN_TOP + len(_title_lines(plot)) * (LINE + 2) + (8 if plot.title else 0)
        self.names = self._names_above([band for band in plot.bands if band.axis == "x"])
        if self.names:
            self.top += LINE
        self.bottom = self.top + plot.height - MARGIN_TOP - MARGIN_BOTTOM
        self.foot = self.bottom + MARGIN_BOTTOM
        self.legend = list(self._legend_of(plot))
        self.full_height = self.foot + sum(len(lines) for _, lines in self.legend) * LINE + (4 if self.legend else 0)

    def x(self, value: float) -> float:
        return round(self.left + (value - self.first) / (self.last - self.first) * (self.right - self.left), 2)

    def y(self, value: float) -> float:
        low, high = self.y_ticks[0], self.y_ticks[-1]
        return round(self.bottom - (value - low) / (high - low) * (self.bottom - self.top), 2)

    def across(self, band: PlotBand) -> tuple[float, float]:
        """A band's left and right, within the frame."""
        left = self.left if band.low is None else max(self.left, self.x(band.low))
        return left, self.right if band.high is None else min(self.right, self.x(band.high))

    def _names_above(self, bands: Sequence[PlotBand]) -> list[tuple[float, str]]:
        """Middles of the bands' names in one row, each over its band or as near as the others let it; or no room."""
        widths = [_wide(band.name) + 8 for band in bands]
        if sum(widths) > self.right - self.left + 8:
            return []
        middles = [sum(self.across(band)) / 2 for band in bands]
        edge = self.left - 4.0
        for n, width in enumerate(widths):
            middles[n] = max(middles[n], edge + width / 2)
            edge = middles[n] + width / 2
        edge = self.right + 4.0
        for n, width in reversed(list(enumerate(widths))):
            middles[n] = min(middles[n], edge - width / 2)
            edge = middles[n] - width / 2
        return list(zip(middles, (band.name for band in bands), strict=True))

    def _legend_of(self, plot: Plot) -> Iterable[tuple[PlotBand | Curve, list[str]]]:
        """What stands in the legend with its lines of words: bands not named above, and traces if there are several."""
        most = int((plot.width - 2 * MARGIN_RIGHT - SAMPLE - 8) / _wide("m"))
        for band in plot.bands:
            if band.is_shaded and not (band.axis == "x" and self.names):
                yield band, wrap(band.name, most)
        seen = set()
        for trace in plot.traces if len(plot.traces) > 1 else ():
            if trace.name and (trace.name, trace.style) not in seen:
                seen.add((trace.name, trace.style))
                yield trace, wrap(trace.name, most)


def _within(values: Sequence[float], most: int) -> tuple[list[float], float, float]:
    """The ticks that lie among the values, and the values' ends; where fewer than three do, the ticks around them."""
    low, high = min(values), max(values)
    around = ticks(low, high, most)
    among = [tick for tick in around if low <= tick <= high]
    return (among, low, high) if len(among) > 2 else (around, around[0], around[-1])


def _title_lines(plot: Plot) -> list[str]:
    return wrap(plot.title, int((plot.width - 2 * MARGIN_RIGHT) / (WIDEST_BOLD * TITLE)))


def _title(plot: Plot) -> Iterable[str]:
    for number, line in enumerate(_title_lines(plot), 1):
        place = f'x="{MARGIN_RIGHT}" y="{number * (LINE + 2) + 2}" font-size="{TITLE}" font-weight="700"'
        yield f'<text class="plot-title" {place}>{escape(line)}</text>'


def _axes(plot: Plot, frame: _Frame) -> Iterable[str]:
    line = '<line class="plot-rule" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="0.22"/>'
    for value, words in zip(frame.y_ticks, tick_words(frame.y_ticks), strict=True):
        y = frame.y(value)
        yield line.format(frame.left, y, frame.right, y)
        yield _text("plot-tick", frame.left - 7, y + 4, words, "end")
    for value, words in zip(frame.x_ticks, tick_words(frame.x_ticks), strict=True):
        x = frame.x(value)
        yield line.format(x, frame.bottom, x, frame.bottom + 5)
        yield _text("plot-tick", x, frame.bottom + 18, words, "middle")
    yield _text("plot-label", (frame.left + frame.right) / 2, frame.foot - 10, plot.x_label, "middle")
    turned = f'transform="translate(13 {(frame.top + frame.bottom) / 2}) rotate(-90)" text-anchor="middle"'
    yield f'<text class="plot-label" {turned}>{escape(plot.y_label)}</text>'


def _bands(plot: Plot, frame: _Frame) -> Iterable[str]:
    for band in plot.bands:
        left, right = frame.across(band) if band.axis == "x" else (float(frame.left), float(frame.right))
        bottom = frame.bottom if band.axis == "x" or band.low is None else min(frame.bottom, frame.y(band.low))
        top = frame.top if band.axis == "x" or band.high is None else max(frame.top, frame.y(band.high))
        if band.is_shaded:
            yield _box(left, top, max(right - left, 1.5), max(bottom - top, 1.5))
    for middle, name in frame.names:
        yield _text("plot-tick", middle, frame.top - 5, name, "middle")


def _text(kind: str, x: float, y: float, words: str, anchor: str = "start") -> str:
    return f'<text class="{kind}" x="{x:.5g}" y="{y:.5g}" text-anchor="{anchor}">{escape(words)}</text>'


def _box(x: float, y: float, width: float, height: float) -> str:
    return (
        f'<rect class="plot-band" x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}"'
        f' fill="{MARKED}" fill-opacity="0.1" stroke="{MARKED}" stroke-opacity="0.5" stroke-dasharray="4 3"/>'
    )


def _trace(trace: Curve, frame: _Frame) -> str:
    return _drawn(trace.style, [[(frame.x(x), frame.y(y)) for x, y in thinned(p)] for p in _pieces(trace.points)])


def _drawn(style: str, pieces: list[list[Point]]) -> str:
    """Stretches of points, at their places, in a style."""
    if style == "dots":
        dots = "".join(f'<circle cx="{x}" cy="{y}" r="3.2"/>' for piece in pieces for x, y in piece)
        return f'<g class="plot-dots" fill="{MEASURED}">{dots}</g>'
    path = " ".join("M" + " L".join(f"{x},{y}" for x, y in (piece if piece[1:] else piece * 2)) for piece in pieces)
    if style == "span":
        path += "".join(f" M{x - 5},{y} L{x + 5},{y}" for piece in pieces for x, y in (piece[0], piece[-1]))
    return (
        f'<path class="plot-trace plot-{style}" d="{path}" fill="none" {STYLES[style]}'
        ' stroke-linejoin="round" stroke-linecap="round"/>'
    )


def _legend(frame: _Frame) -> Iterable[str]:
    y = float(frame.foot + 4)
    for shown, lines in frame.legend:
        if isinstance(shown, Curve):
            yield _sample(shown.style, MARGIN_RIGHT, y + 5)
        else:
            yield _box(MARGIN_RIGHT, y, SAMPLE, 10)
        for line in lines:
            yield _text("plot-tick", MARGIN_RIGHT + SAMPLE + 8, y + 10, line)
            y += LINE


def _sample(style: str, x: float, y: float) -> str:
    if style == "span":
        return _drawn(style, [[(x + 11, y - 5), (x + 11, y + 5)]])
    return _drawn(style, [[(x + 11, y)] if style == "dots" else [(x, y), (x + SAMPLE, y)]])
