"""Log lines: an event and its facts, in words or as JSON, to stderr."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime


class EventFormatter(logging.Formatter):
    """`12:30:01 link  link=multimeter state=listening`, or one JSON object a line."""

    def __init__(self, as_json: bool) -> None:
        super().__init__()
        self._as_json = as_json

    def format(self, record: logging.LogRecord) -> str:
        facts = {name: value for name, value in getattr(record, "facts", {}).items() if value not in ("", None)}
        if record.exc_info:
            facts["error"] = self.formatException(record.exc_info)
        moment = datetime.fromtimestamp(record.created, UTC)
        if self._as_json:
            head = {"utc": moment.isoformat(timespec="milliseconds"), "level": record.levelname.lower()}
            return json.dumps({**head, "event": record.getMessage(), **facts}, ensure_ascii=False, default=str)
        words = " ".join(f"{name}={_word(value)}" for name, value in facts.items())
        return f"{moment:%H:%M:%S} {record.getMessage()}  {words}".rstrip()


def _word(value: object) -> str:
    text = str(value)
    return json.dumps(text, ensure_ascii=False) if " " in text else text


def set_up(form: str) -> logging.Logger:
    """The daemon's logger, writing to stderr in the form "words" or "json"."""
    logger = logging.getLogger("meterlog")
    logger.handlers.clear()
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(EventFormatter(as_json=form == "json"))
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    logger.propagate = False
    return logger
