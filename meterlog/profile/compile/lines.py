"""Frames that are text: a line with {fields}, an expression, or parts between separators."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import re2

from meterlog.conversation.reasons import Unlike
from meterlog.profile.compile.numbers import Digits, Groups, digits_of, number_pattern, word_code
from meterlog.profile.compile.tables import ANY_OTHER, OR
from meterlog.profile.compile.values import Value
from meterlog.profile.compile.view import FrameReader, NotBelieved, View
from meterlog.profile.language.content import Field, Says
from meterlog.profile.language.kinds import NumberKind, parse_kind
from meterlog.profile.language.words import bare

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.profile.compile.layout import ByteNumbering
    from meterlog.profile.compile.values import Values

_HOLE = re.compile(r"\{([a-z0-9_]*)\}")
_PLAIN = NumberKind(name="decimal")
FIGURES = ("decimal", "digits", "hex")
"""Kinds of text that are figures one after another."""


class Template:
    """A `text:` line: literal text, one blank for any blanks, and {fields}."""

    def __init__(self, says: Says, values: Values, ends: tuple[bytes, ...], numbers: set[str]) -> None:
        self.says, self.values, self.ends, self.numbers = says, values, ends, numbers
        self.groups: list[tuple[str, int]] = []

    def add(self) -> None:
        """The step that matches the line and lays out its parts."""
        pieces = _HOLE.split(self.says.text)
        pattern = b""
        before: NumberKind | None = None
        for place, piece in enumerate(pieces):
            if place % 2 == 0:
                pattern += _literal(piece.encode("latin-1"))
                before = None if piece else before
                continue
            behind, is_last = pieces[place + 1].encode("latin-1"), place + 2 == len(pieces)
            hole, before = self._hole(piece, _up_to(behind) if behind or is_last else None, before)
            pattern += hole
        pattern += _end(self.ends, self.values.layout.behind)
        match = re.compile(pattern, re.DOTALL).fullmatch
        spans, begun = [], 0
        for name, count in self.groups:
            spans.append((name, begun, begun + count))
            begun += count
        wrong = Unlike(f"does not look like {self.says.text!r}")

        def step(view: View) -> None:
            found = match(view.frame)
            if found is None:
                raise NotBelieved(wrong)
            groups = found.groups()
            for name, first, end in spans:
                view.texts[name] = groups[first:end]

        self.values.steps.append(step)
        self._hold()

    def _hold(self) -> None:
        """The fields of the line, in the order in which they stand."""
        for name, _ in self.groups:
            field = self.says.fields.get(name)
            kind = self._kind(name, field)
            assert kind
            said = field or bare(Field, self.says.where)
            if kind.is_number_text:
                digits = digits_of(name, field, kind)
                value = Value(kind="digits", name=name, read=_digits_at(name, digits), field=field)
            elif kind.name in ("digits", "hex") or kind.name == "words":
                value = self.values.of_text(name, said, _text_at(name), kind, "the text")
            else:
                value = Value(kind="bytes", name=name, read=_text_at(name), field=field)
            self.values.hold(value)

    def _hole(self, name: str, anything: bytes | None, before: NumberKind | None) -> tuple[bytes, NumberKind | None]:
        """The pattern of a field, and how it is read where the next may not tell where it ends.

        `anything` matches up to the text behind the field; None where another field follows at once.
        """
        if name in ("", "_"):
            return self._reaching(name, anything), None
        field = self.says.fields.get(name)
        kind = self._kind(name, field)
        if kind is None:
            return b"", None
        if before is not None and _ends_openly(before) and kind.name in FIGURES and not kind.signed:
            where = field.where if field else self.says.where
            where.tell(
                self.values.problems,
                "text",
                expected=f"something between two numbers, or a sign before {name!r}",
                saw=self.says.text,
                hint="parted by a sign: `as: signed decimal`; in columns: `bytes` in place of `text`",
            )
        return self._group(name, field, kind, anything), kind

    def _reaching(self, name: str, anything: bytes | None) -> bytes:
        """The pattern of a hole that takes whatever comes; told where nothing says how far it reaches."""
        if anything is None:
            self.says.where.tell(
                self.values.problems,
                "text",
                expected=f"text behind {{{name}}}, which reaches up to it",
                saw="another field at once",
                hint="say what codes it can be (`means`), or their `bytes` in place of `text`",
            )
        return anything or b""

    def _kind(self, name: str, field: Field | None) -> NumberKind | None:
        if field is None or not field.kind:
            return _PLAIN if name in self.numbers else NumberKind(name="text")
        try:
            return parse_kind(field.kind)
        except ValueError as error:
            field.where.tell(
                self.values.problems,
                "as",
                expected="a kind of text: decimal, digits, hex, text",
                saw=field.kind,
                hint=str(error),
            )
            return None

    def _group(self, name: str, field: Field | None, kind: NumberKind, anything: bytes | None) -> bytes:
        """The pattern of a field, its groups noted."""
        self.groups.append((name, 5 if kind.is_number_text else 1))
        if kind.is_number_text:
            return number_pattern(field, kind)
        if kind.name == "hex":
            return b" *+([0-9A-Fa-f]{1,16}) *+"
        if kind.name == "digits":
            words = [word_code(word) for word in field.special_words] if field else []
            return b" *+(" + b"|".join([b"[0-9]{1,18}", *map(re.escape, words)]) + b") *+"
        words = _words_of(field)
        if words:
            return _either(words)
        return b"(" + self._reaching(name, anything) + b")"


def _text_at(name: str) -> FrameReader:
    return lambda view: view.texts[name][0]


def _digits_at(name: str, digits: Callable[[Groups], Digits]) -> FrameReader:
    return lambda view: digits(view.texts[name])


def _literal(piece: bytes) -> bytes:
    """The pattern of literal text, one blank for any number of them.

    Blanks are taken whole, so that no line makes the pattern try in how many ways they could be parted; a field
    that is empty, or has taken the blanks behind it, leaves none to its literal.
    """
    return re.sub(rb"(?:\\ )+", rb"(?:(?<= ) *+| ++)", re.escape(piece))


def _up_to(piece: bytes) -> bytes:
    """The pattern of anything, up to where the literal text that follows first stands."""
    if not piece:
        return b".*"
    if not piece.strip(b" ") or len(piece) == 1:
        return b"[^" + re.escape(piece[:1]) + b"]*+"
    return b"(?:(?!" + _literal(piece) + b").)*+"


def _ends_openly(kind: NumberKind) -> bool:
    """Whether figures that follow could belong to a number of this kind as well."""
    return kind.name in FIGURES and kind.before is None


def _either(words: list[bytes]) -> bytes:
    """The pattern of one of some words, blanks around it; of single characters, exactly one."""
    if all(len(word) == 1 for word in words):
        return b"([" + b"".join(map(re.escape, words)) + b"])"
    return b" *+(" + b"|".join(map(re.escape, words)) + b") *+"


def _words_of(field: Field | None) -> list[bytes]:
    """The codes that a text field can be, the longest first."""
    if field is None or field.under or not (field.means or field.value):
        return []
    if ANY_OTHER in field.means or field.kind == "words":
        return []
    said = [*field.means, *field.value]
    words = {word_code(part) for word in said for part in (word, *word.split(OR))}
    return sorted(words, key=len, reverse=True)


def _end(ends: tuple[bytes, ...], behind: int) -> bytes:
    """The pattern of an end mark and the bytes behind it."""
    return b"(?:" + b"|".join(map(re.escape, ends)) + b")" + b".{%d}" % behind if ends else b""


def holes(text: str) -> list[str]:
    """The names between braces, in order."""
    return [name for name in _HOLE.findall(text) if name not in ("", "_")]


class Pattern:
    """Writes a `pattern:`: the user's expression in RE2, which takes time in proportion to the text."""

    def __init__(self, says: Says, values: Values, ends: tuple[bytes, ...], numbers: set[str]) -> None:
        self.says, self.values, self.ends, self.numbers = says, values, ends, numbers

    def add(self) -> list[str]:
        """The step that matches the whole line, and its fields; answers the names of the groups."""
        compiled = self._compiled()
        if compiled is None:
            return []
        values, text, match = self.values, body(self.values.layout, b"", self.ends), compiled.fullmatch
        names = {group.decode() if isinstance(group, bytes) else group: group for group in compiled.groupindex}
        whole = values.layout.length is not None and values.layout.tail
        wrong = Unlike("does not look like the pattern" + (", which has the end mark in it too" if whole else ""))

        def step(view: View) -> None:
            found = match(text(view.frame))
            if found is None:
                raise NotBelieved(wrong)
            for name, group in names.items():
                view.texts[name] = (found[group] or b"",)

        values.steps.append(step)
        for name in names:
            field = self.says.fields.get(name)
            kind = NumberKind(name="text")
            if field is not None and field.kind:
                kind = values.kind_of(field, None) or kind
            elif name in self.numbers:
                kind = _PLAIN
            said = field or bare(Field, self.says.where)
            values.hold(values.of_text(name, said, _text_at(name), kind, "the text"))
        return list(names)

    def _compiled(self) -> Any:
        options = re2.Options()
        options.log_errors = False
        options.encoding = re2.Options.Encoding.LATIN1
        options.max_mem = 1 << 20
        try:
            return re2.compile(self.says.pattern.encode("latin-1"), options)
        except (re2.error, UnicodeEncodeError) as error:
            said = error.args[0] if error.args else ""
            said = said.decode("latin-1") if isinstance(said, bytes) else str(said)
            self.says.where.tell(
                self.values.problems,
                "pattern",
                expected="an expression in RE2 with groups (?P<name>…)",
                saw=self.says.pattern,
                hint=said,
            )
            return None


def body(layout: ByteNumbering, start: bytes, ends: tuple[bytes, ...]) -> Callable[[bytes], bytes]:
    """What answers a frame without its start and end marks, and without what stands behind the end mark."""
    first, behind = len(start), layout.behind
    if len(ends) < 2:
        last = -(len(ends[0]) + behind) if ends else None
        return lambda frame: frame[first:last]
    longest_first = sorted(ends, key=len, reverse=True)

    def strip(frame: bytes) -> bytes:
        marked = frame[: len(frame) - behind]
        for end in longest_first:
            if marked.endswith(end):
                return marked[first : -len(end)]
        return marked[first:]

    return strip
