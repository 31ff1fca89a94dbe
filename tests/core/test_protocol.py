"""The page that describes the control socket, held to the code: requests, acts, phases, the walk, events."""

import re
from dataclasses import fields
from pathlib import Path

from meterlog.daemon.control import MOST_CLIENTS
from meterlog.daemon.events import EVENTS
from meterlog.daemon.requests import MEANT_FOR, REQUESTS
from meterlog.walk import PHASES, WORDS, Snapshot

DAEMON = Path(__file__).parents[2] / "meterlog" / "daemon"
PAGE = (DAEMON / "PROTOCOL.md").read_text()


def first_column(heading):
    """The words in backticks of the first column of the table under a head."""
    _, _, after = PAGE.partition(heading)
    rows = re.match(r"\n\|[-|]+\|\n((?:\|.*\n)+)", after)[1].splitlines()
    return [word for row in rows for word in re.findall(r"`([^`]+)`", row.split("|")[1])]


def test_every_request_is_described_and_exists():
    assert sorted(first_column("| `do` | with | answers |")) == sorted([*REQUESTS, "watch"])


def test_every_act_is_described_and_exists():
    assert sorted(first_column("| `word` | needs | what it does |")) == sorted(WORDS)


def test_every_phase_is_named_and_exists():
    assert re.search(r"phases: ([^|]*) \|", PAGE)[1].split(", ") == PHASES


def test_what_an_act_names_is_named():
    assert re.search(r"It names the `(job)`, the `(step)`.*?the `(phase)`.*?an `(id)`", PAGE, re.DOTALL).groups() == (
        MEANT_FOR
    )


def test_every_field_of_the_walk_is_described_and_exists():
    assert set(first_column("| field | what it is |")) == {field.name for field in fields(Snapshot)}


def test_every_event_is_described_and_exists():
    assert sorted(first_column("| event | with |")) == sorted(EVENTS.values())


def test_what_each_request_takes_is_described_and_exists():
    """Every field of a request stands in its row, and every name in the row is a field."""
    table = PAGE.partition("| `do` | with | answers |")[2].partition("\n\n")[0]
    rows = {row.split("`")[1]: row.split("|")[2] for row in table.splitlines()[2:]}
    for do, (kind, _) in REQUESTS.items():
        own = {field.name for field in fields(kind)} - {"who", "whence"}
        assert (do, set(re.findall(r"`(\w+)`", rows[do]))) == (do, own)


def test_the_number_of_clients_is_the_one_in_force():
    assert MOST_CLIENTS == 100
    assert "A hundred clients at most" in PAGE
