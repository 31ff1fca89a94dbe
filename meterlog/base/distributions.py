"""The distributions that errors are given: normal, Student's t, and sums of rectangles with a normal.

Plain Python, good to 1e-9 over what a budget needs, sums of several rectangles to 1e-6. What the
errors are, and how they combine, is `meterlog.base.uncertainty`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_TERMS = 1500
_NORMAL_FROM = 1e9  # degrees of freedom from which t is the normal within 1e-8


def normal_cdf(z: float) -> float:
    """Probability that a standard normal lies at or below z."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def student_cdf(t: float, degrees_of_freedom: float) -> float:
    """Probability that Student's t with ν >= 1 degrees of freedom, whole or not, lies at or below t.

    >>> round(student_cdf(2.228139, 10), 6)
    0.975
    """
    if degrees_of_freedom > _NORMAL_FROM:
        return normal_cdf(t)
    square = t * t
    tail = 0.5 * _incomplete_beta(degrees_of_freedom, square)
    return 1.0 - tail if t > 0 else tail


def student_quantile(p: float, degrees_of_freedom: float) -> float:
    """The t below which Student's t lies with probability p, 0 < p < 1; ν may be infinite.

    >>> round(student_quantile(0.995, 16), 4)
    2.9208
    """
    return _quantile(lambda t: student_cdf(t, degrees_of_freedom), p, 1.0)


@dataclass(frozen=True, slots=True)
class ErrorSum:
    """The sum of independent errors: rectangles of these half widths (all > 0) and a normal of this sigma.

    One rectangle and a normal, and two rectangles, are in closed form; more go by the Fourier series
    of their distribution, whose coefficients are known exactly.
    Source: the characteristic functions sin(at)/(at) and exp(-σ²t²/2).
    """

    half_widths: tuple[float, ...]
    sigma: float

    @property
    def standard_deviation(self) -> float:
        """Of the sum: rectangles count a²/3 each."""
        return math.sqrt(sum(a * a for a in self.half_widths) / 3.0 + self.sigma**2)

    def cdf(self) -> Callable[[float], float]:
        """The function x -> probability that the error lies at or below x."""
        widths, sigma = self.half_widths, self.sigma
        if not widths:
            return (lambda x: normal_cdf(x / sigma)) if sigma > 0 else (lambda x: 0.5 * ((x >= 0) + (x > 0)))
        if len(widths) == 1:
            return _one_rectangle(widths[0], sigma)
        if len(widths) == 2 and sigma == 0:
            return _two_rectangles(max(widths), min(widths))
        return _series(widths, sigma)

    def quantile(self, p: float) -> float:
        """The error below which the sum lies with probability p, 0 < p < 1; 0 when there is no error."""
        scale = self.standard_deviation
        return _quantile(self.cdf(), p, scale) if scale else 0.0


def _one_rectangle(a: float, sigma: float) -> Callable[[float], float]:
    """Rectangle and normal: (σ/2a) [G((x+a)/σ) − G((x−a)/σ)], G(z) = zΦ(z) + φ(z)."""
    if sigma < 1e-6 * a:
        return lambda x: min(max((x + a) / (2.0 * a), 0.0), 1.0)

    def tail(z: float) -> float:  # G(z) − max(z, 0), which stays small on both sides
        density = math.exp(-z * z / 2.0) / math.sqrt(2.0 * math.pi)
        return density - abs(z) * normal_cdf(-abs(z))

    def cdf(x: float) -> float:
        flat = max(x + a, 0.0) - max(x - a, 0.0)
        return (flat + sigma * (tail((x + a) / sigma) - tail((x - a) / sigma))) / (2.0 * a)

    return cdf


def _two_rectangles(a: float, b: float) -> Callable[[float], float]:
    """The trapezoid that two rectangles of half widths a >= b sum to."""

    def cdf(x: float) -> float:
        if x > 0:
            return 1.0 - cdf(-x)
        if x <= -(a + b):
            return 0.0
        if x < b - a:
            return (x + a + b) ** 2 / (8.0 * a * b)
        return 0.5 + x / (2.0 * a)

    return cdf


def _series(widths: Sequence[float], sigma: float) -> Callable[[float], float]:
    period = 2.0 * (sum(widths) + 9.0 * sigma)
    step = 2.0 * math.pi / period
    terms: list[tuple[float, float]] = []
    for k in range(1, _TERMS):
        t = step * k
        share = math.exp(-0.5 * (sigma * t) ** 2) / (math.pi * k)
        for a in widths:
            share *= math.sin(a * t) / (a * t)
        terms.append((t, share))
        if sigma * t > 7.0:
            break

    def cdf(x: float) -> float:
        if abs(x) >= period / 2.0:
            return 1.0 if x > 0 else 0.0
        return 0.5 + x / period + sum(share * math.sin(t * x) for t, share in terms)

    return cdf


def _quantile(cdf: Callable[[float], float], p: float, scale: float) -> float:
    """Where a symmetric distribution's cdf reaches p: doubling brackets it, Illinois closes in."""
    if not 0.0 < p < 1.0:
        raise ValueError(f"a probability between 0 and 1, not {p}")
    if p < 0.5:
        return -_quantile(cdf, 1.0 - p, scale)
    low, high = 0.0, scale
    while cdf(high) < p and high < 1e12 * scale:
        low, high = high, 2.0 * high
    below, above = cdf(low) - p, cdf(high) - p
    for _ in range(200):
        if high - low <= 1e-13 * high or above == below:
            break
        middle = (low * above - high * below) / (above - below)
        if not low < middle < high:
            middle = 0.5 * (low + high)
        found = cdf(middle) - p
        if abs(found) < 1e-12 * (1.0 - p):
            return middle
        if found < 0:
            low, below, above = middle, found, above / 2.0
        else:
            high, above, below = middle, found, below / 2.0
    return high if abs(above) < abs(below) else low


def _incomplete_beta(nu: float, square: float) -> float:
    """Regularised incomplete beta I_x(ν/2, 1/2) at x = ν/(ν+t²), with 1 − x = t²/(ν+t²) kept exact."""
    a, b = nu / 2.0, 0.5
    x, rest = nu / (nu + square), square / (nu + square)
    if rest == 0.0:
        return 1.0
    log_x = math.log(x) if rest > 0.5 else math.log1p(-rest)
    front = math.exp(_log_gamma_step(a) - math.lgamma(0.5) + a * log_x + b * math.log(rest))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _beta_fraction(a, b, x) / a
    return 1.0 - front * _beta_fraction(b, a, rest) / b


def _log_gamma_step(a: float) -> float:
    """ln Γ(a + 1/2) − ln Γ(a), by its series where the two would cancel."""
    if a < 100.0:
        return math.lgamma(a + 0.5) - math.lgamma(a)
    return 0.5 * math.log(a) - 1.0 / (8.0 * a) + 1.0 / (192.0 * a**3) - 1.0 / (640.0 * a**5)


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta, by Lentz's method."""
    tiny = 1e-300
    c, d = 1.0, 1.0 / ((1.0 - (a + b) * x / (a + 1.0)) or tiny)
    out = d
    for m in range(1, 500):
        for factor in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 / ((1.0 + factor * d) or tiny)
            c = (1.0 + factor / c) or tiny
            out *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return out
