"""Arithmetic over fields: a small expression, parsed, checked, and worked out in exact fractions.

    hi * 256 + lo          raw * 0.0625 - 40          (a + b) / 2

Names are fields; + - * / and brackets are all there is. No digit is lost on the way.
"""

from __future__ import annotations

import ast
import operator
from fractions import Fraction
from typing import TYPE_CHECKING

from meterlog.profile.compile.view import NotBelieved

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.profile.compile.view import FrameReader, View

LONGEST = 1000
MOST_PARTS = 400
MOST_DECIMALS = 12
_ALLOWED = (ast.Name, ast.Load, ast.Add, ast.Sub, ast.Mult, ast.Div, ast.USub, ast.BinOp, ast.UnaryOp)
_BINARY = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul}


def parse(text: str) -> ast.expr:
    """The tree of an expression. Raises: ValueError, naming what is not allowed."""
    if len(text) > LONGEST:
        raise ValueError(f"at most {LONGEST} characters")
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        raise ValueError("write fields, numbers, + - * / and brackets") from None
    nodes = list(ast.walk(tree))
    if len(nodes) > MOST_PARTS:
        raise ValueError("at most about a hundred fields and numbers")
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and 0 <= node.value < 1e15:
            continue
        if not isinstance(node, _ALLOWED):
            raise ValueError("write fields, numbers, + - * / and brackets")
    return tree


def names(tree: ast.expr) -> list[str]:
    """The fields that it uses, in order."""
    return [node.id for node in ast.walk(tree) if isinstance(node, ast.Name)]


def operands(text: str) -> list[str]:
    """The fields that a text uses, each once; none where it is no arithmetic.

    >>> operands("a * 2 + b - a"), operands("a +")
    (['a', 'b'], [])
    """
    try:
        return list(dict.fromkeys(names(parse(text)))) if text else []
    except ValueError:
        return []


def decimals_of(tree: ast.expr, is_whole: Callable[[str], bool]) -> int | None:
    """Digits behind the point that the result may have; None where they do not end, or the fields say.

    Args:
        is_whole: whether a field is a whole number.
    """
    match tree:
        case ast.Name(id=name):
            return 0 if is_whole(name) else None
        case ast.Constant(value=value):
            return _places(Fraction(repr(value)))
        case ast.UnaryOp(operand=inner):
            return decimals_of(inner, is_whole)
        case ast.BinOp(left=left, op=ast.Div(), right=ast.Constant(value=value)) if value:
            return _sum(decimals_of(left, is_whole), _places(1 / Fraction(repr(value))))
        case ast.BinOp(left=left, op=op, right=right) if not isinstance(op, ast.Div):
            one, other = decimals_of(left, is_whole), decimals_of(right, is_whole)
            if isinstance(op, ast.Mult):
                return _sum(one, other)
            return None if one is None or other is None else max(one, other)
    return None


def _sum(one: int | None, other: int | None) -> int | None:
    return None if one is None or other is None else one + other


def _places(value: Fraction) -> int | None:
    """Digits behind the point of a number, None where it has no end or more than can be kept."""
    return next((k for k in range(MOST_DECIMALS + 1) if (value * 10**k).denominator == 1), None)


def evaluator(tree: ast.expr, field: Callable[[str], FrameReader]) -> Callable[[View], Fraction]:
    """What works an expression out; `field` gives what reads a field, as a whole number or a fraction.

    Raises: ValueError for a division by zero that can be seen.
    """
    match tree:
        case ast.Name(id=name):
            read = field(name)
            return lambda view: Fraction(read(view))
        case ast.Constant(value=value):
            number = Fraction(repr(value))
            return lambda view: number
        case ast.UnaryOp(operand=inner):
            worked = evaluator(inner, field)
            return lambda view: -worked(view)
        case ast.BinOp(left=left, op=op, right=right):
            if isinstance(op, ast.Div) and isinstance(right, ast.Constant) and not right.value:
                raise ValueError("a division by zero")
            one, other = evaluator(left, field), evaluator(right, field)
            if isinstance(op, ast.Div):
                return lambda view: _over(one(view), other(view))
            put = _BINARY[type(op)]
            return lambda view: put(one(view), other(view))
    raise AssertionError("`parse` lets nothing else through")


def _over(one: Fraction, other: Fraction) -> Fraction:
    if not other:
        raise NotBelieved("a division by zero")
    return one / other
