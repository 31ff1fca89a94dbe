"""The picture of a heating run: its trace, the periods, the lines through them and the corrected rise, as SVG.

Periods are told apart by words and edges as well as by colour, so that print, colour-blind eyes
and dark screens see the same. It scales to the width it is given; text stays readable on a phone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from textwrap import wrap
from typing import TYPE_CHECKING

from meterlog.heating.water import ZERO_CELSIUS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meterlog.heating.result import Found, HeatingResult

WIDTH, HEIGHT = 560.0, 440.0
LEFT, RIGHT, TOP, BOTTOM = 70.0, 16.0, 84.0, 68.0
_MOST_POINTS = 700

STYLE = """
.run-plot { color: #1a1a1a; --ground: #ffffff; --grid: #d6d6d6; --line: #0b5fa5; --heat: #b84300; --band: #b8430014;
  font: 19px/1.2 system-ui, sans-serif; }
@media (prefers-color-scheme: dark) {
  .run-plot { color: #ececec; --ground: #161616; --grid: #3d3d3d;
    --line: #76b9f2; --heat: #ff9d5c; --band: #ff9d5c1f; } }
@media print {
  .run-plot { color: #000; --ground: #fff; --grid: #ccc; --line: #0b5fa5; --heat: #b84300; --band: #b8430014; } }
.run-plot text { fill: currentColor; paint-order: stroke; stroke: var(--ground); stroke-width: 4px; }
.run-plot .ground { fill: var(--ground); } .run-plot .grid { stroke: var(--grid); stroke-width: 1; }
.run-plot .axis { stroke: currentColor; stroke-width: 1.5; fill: none; }
.run-plot .trace { stroke: currentColor; stroke-width: 2; fill: none; stroke-linejoin: round; }
.run-plot .fit { stroke: var(--line); stroke-width: 3.5; fill: none; }
.run-plot .reach { stroke: var(--line); stroke-width: 2; stroke-dasharray: 7 5; fill: none; }
.run-plot .heating { fill: var(--band); }
.run-plot .edge { stroke: var(--heat); stroke-width: 2; stroke-dasharray: 2 4; }
.run-plot .rise { stroke: var(--heat); stroke-width: 2.5; fill: none; } .run-plot .small { font-size: 17px; }
""".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    """From seconds and °C to places in the picture."""

    first: float
    last: float
    low: float
    high: float

    def x(self, seconds: float) -> float:
        return LEFT + (seconds - self.first) / (self.last - self.first) * (WIDTH - LEFT - RIGHT)

    def y(self, celsius: float) -> float:
        return HEIGHT - BOTTOM - (celsius - self.low) / (self.high - self.low) * (HEIGHT - TOP - BOTTOM)


def plot(answer: HeatingResult) -> str:
    """The SVG of a run; one that was refused shows its trace and the reason."""
    series = answer.trace.temperature
    celsius = [value - ZERO_CELSIUS for value in series.values]
    tops = [*celsius, *([_ends(answer.found)[1]] if answer.found else [])]
    room = max((max(tops) - min(tops)) * 0.12, 0.5)
    scale = _Scale(first=series.times[0], last=series.times[-1], low=min(tops) - room, high=max(tops) + room)
    title = _title(answer)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="run-plot" role="img" viewBox="0 0 {WIDTH:g} {HEIGHT:g}">',
        f"<title>{escape(title)}</title>",
        f"<style>{STYLE}</style>",
        f'<rect class="ground" width="{WIDTH:g}" height="{HEIGHT:g}"/>',
        *_axes(scale),
        *(_periods(answer.found, scale) if answer.found else []),
        _path("trace", scale, _thinned(series.times, celsius)),
        *(_lines(answer.found, scale) if answer.found else []),
        _text(LEFT, 26, title, "start"),
        *_reasons(answer),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _title(answer: HeatingResult) -> str:
    if answer.power is None or answer.expanded_uncertainty is None:
        return "Heating run: no power could be told"
    return f"Useful power {answer.power:.0f} W ± {answer.expanded_uncertainty:.0f} W"


def _reasons(answer: HeatingResult) -> list[str]:
    lines = wrap("; ".join(part.why for part in answer.refused), 54, max_lines=2, placeholder=" …")
    return [_text(LEFT, 50 + 20 * n, line, "start", "small") for n, line in enumerate(lines)]


def _axes(scale: _Scale) -> list[str]:
    out = []
    for celsius in _ticks(scale.low, scale.high, 5):
        y = scale.y(celsius)
        out += [_line("grid", LEFT, y, WIDTH - RIGHT, y), _text(LEFT - 8, y + 6, f"{celsius:g}", "end", "small")]
    for seconds in _ticks(scale.first, scale.last, 6):
        x = scale.x(seconds)
        out += [
            _line("grid", x, TOP, x, HEIGHT - BOTTOM),
            _text(x, HEIGHT - BOTTOM + 21, f"{seconds:g}", "middle", "small"),
        ]
    out.append(_line("axis", LEFT, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM))
    out.append(_line("axis", LEFT, TOP, LEFT, HEIGHT - BOTTOM))
    out.append(_text((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 14, "time in s", "middle"))
    middle = (TOP + HEIGHT - BOTTOM) / 2
    out.append(f'<text x="22" y="{middle:.1f}" text-anchor="middle" transform="rotate(-90 22 {middle:.1f})">°C</text>')
    return out


def _periods(found: Found, scale: _Scale) -> list[str]:
    start, stop = found.heating.start, found.heating.stop
    left, right = scale.x(max(start, scale.first)), scale.x(min(stop, scale.last))
    height = HEIGHT - TOP - BOTTOM
    out = [f'<rect class="heating" x="{left:.1f}" y="{TOP:g}" width="{right - left:.1f}" height="{height:g}"/>']
    out += [_line("edge", x, TOP, x, HEIGHT - BOTTOM) for x in (left, right)]
    words = [("before", scale.first, start), ("heating", start, stop), ("after", stop, scale.last)]
    for word, begin, end in words:
        middle = scale.x((max(begin, scale.first) + min(end, scale.last)) / 2)
        if scale.x(end) - scale.x(begin) > 9.0 * len(word):
            out.append(_text(middle, TOP + 20, word, "middle", "small"))
    return out


def _ends(found: Found) -> tuple[float, float]:
    """°C at the start, and where the load would stand at the stop had the room taken nothing."""
    first = found.first.kelvin - ZERO_CELSIUS
    return first, first + found.rise + found.lost / found.capacity


def _lines(found: Found, scale: _Scale) -> list[str]:
    """The lines through the periods, carried to the ends of heating, and the corrected rise between them."""
    start, stop = found.heating.start, found.heating.stop
    first, last = found.first.kelvin - ZERO_CELSIUS, found.last.kelvin - ZERO_CELSIUS
    out = []
    for stretch, moment, end in ((found.before, start, found.first), (found.after, stop, found.last)):
        if stretch is None:
            continue
        slope = -found.exchange.loss(end.kelvin) / found.capacity
        level = end.kelvin - ZERO_CELSIUS
        line = [(t, level + slope * (t - moment)) for t in (stretch.first, stretch.last)]
        near = min(line, key=lambda point: abs(point[0] - moment))
        out += [_path("fit", scale, line), _path("reach", scale, [near, (moment, level)])]
    if found.by_ramp:
        out.append(_path("reach", scale, [(start + found.lag, first), (stop + found.lag, last)]))
    foot, top = _ends(found)
    x = scale.x(stop)
    out.append(_line("rise", x, scale.y(foot), x, scale.y(top)))
    out += [_line("rise", x - 9, scale.y(c), x + 9, scale.y(c)) for c in (foot, top)]
    out.append(_line("reach", scale.x(start), scale.y(foot), x, scale.y(foot)))
    return [*out, *_rise_words(x, scale.y(0.65 * foot + 0.35 * top), f"{top - foot:.2f} K")]


def _rise_words(x: float, y: float, rise: str) -> list[str]:
    """The corrected rise beside its mark: right of it where there is room."""
    place, anchor = (x + 12, "start") if x < WIDTH - RIGHT - 100 else (x - 12, "end")
    low = y if anchor == "start" else (y + HEIGHT - BOTTOM) / 2
    return [_text(place, low + 22 * n, words, anchor) for n, words in enumerate(("corrected", "rise", rise))]


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers between low and high, at most so many and one."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough)
    return [round(k * step, 10) for k in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _thinned(times: Sequence[float], values: Sequence[float]) -> list[tuple[float, float]]:
    every = max(len(times) // _MOST_POINTS, 1)
    return [*zip(times[::every], values[::every], strict=True), (times[-1], values[-1])]


def _path(kind: str, scale: _Scale, points: Iterable[tuple[float, float]]) -> str:
    places = " ".join(f"{scale.x(t):.1f},{scale.y(c):.1f}" for t, c in points)
    return f'<polyline class="{kind}" points="{places}"/>'


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _text(x: float, y: float, text: str, anchor: str, kind: str = "") -> str:
    kind = f' class="{kind}"' if kind else ""
    return f'<text{kind} x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
