"""The bench loop by itself: its clocks, links, queue and store are the test's."""

import json
import queue
import secrets
import threading
from itertools import count

import pytest
from edge.bench import wait_until

from meterlog.daemon import link_states as states
from meterlog.daemon import loop as bench_loop
from meterlog.daemon import station
from meterlog.daemon.announce import Announcer
from meterlog.daemon.clock import Clock
from meterlog.daemon.desk import JobDesk
from meterlog.daemon.events import EVENTS
from meterlog.daemon.items import Damaged, LineChanged, Opened, PendingRequest, Received, StateChanged, Stop
from meterlog.daemon.link_states import LinkState
from meterlog.daemon.loop import BenchLoop
from meterlog.daemon.main import QUEUE_ITEMS, stations_of
from meterlog.daemon.requests import answer_request
from meterlog.links import LinkLost
from meterlog.links.benchfile import read_bench
from meterlog.record.keptjob import job_at_hand
from meterlog.store import audit, sqlite, writer
from meterlog.store.reader import reading
from meterlog.store.writer import Writer

BENCH = """\
bench: test bench
instruments:
  thermometer: {profile: ascii-thermometer, port: /dev/not-used}
  transmitter: {profile: modbus-rtu, port: /dev/not-used-either}
"""
HOUR_MS = 3_600_000


class Hands(Clock):
    """A clock whose UTC can be set."""

    def __init__(self):
        self.set_by_ms = 0
        super().__init__()

    def utc_ms(self):
        return super().utc_ms() + self.set_by_ms


class Deaf:
    """A link that takes no bytes."""

    def __init__(self):
        self.asked = 0

    def write(self, data):
        self.asked += 1
        raise LinkLost("it takes no bytes")


class Loop:
    """A bench loop in a thread."""

    def __init__(self, folder):
        self.db = folder / "100 % of it.db"
        self.clock, self.items, self.announcer = Hands(), queue.Queue(QUEUE_ITEMS), Announcer()
        announcer = self.announcer
        bench = read_bench(BENCH, "bench.yaml")
        self.stations = stations_of(bench, folder)
        self.writer = Writer(self.db, self.clock.now())
        desk = JobDesk(self.stations, self.writer, announcer, self.clock, bench)
        self.loop = BenchLoop(self.stations, self.writer, desk, announcer, self.clock, self.items, answer_request)
        with reading(self.db) as kept:
            if (job := job_at_hand(kept)) is not None:
                desk.resume(job)
        self._thread = threading.Thread(target=self.loop.run)
        self._thread.start()

    def ask(self, **message):
        reply = queue.Queue(1)
        self.items.put(PendingRequest(message, reply))
        return json.loads(json.dumps(reply.get(timeout=20)))  # as it goes over the socket

    def walk(self):
        return self.ask(do="status")["status"]["walk"]

    def act(self, word, **more):
        """An act meant for what is asked now, unless `more` says what else."""
        return self.ask(**{"do": "act", "word": word, "id": secrets.token_hex(16), **self.meant(), **more})

    def meant(self):
        """What an act names that is meant for what is asked now."""
        walk = self.walk()
        return {name: walk[name] for name in ("job", "step", "phase")}

    def reads(self):
        """Acknowledge whatever cautions wait."""
        while self.walk()["phase"] == "cautions":
            assert self.act("acknowledge")["ok"]

    def open(self, source="thermometer", link=None):
        self.items.put(Opened(source, link, "/dev/not-used", self.clock.monotonic()))

    def hear(self, data, source="thermometer"):
        self.items.put(Received(source, data, self.clock.monotonic()))

    def lose(self, source="thermometer"):
        self.items.put(StateChanged(source, LinkState.WAITING, "pulled", "", self.clock.monotonic()))

    def stop(self):
        if self._thread.is_alive():
            self.items.put(Stop())
        self._thread.join()

    def rows(self, sql):
        db = sqlite.open_reader(self.db)
        try:
            return [tuple(row) for row in db.execute(sql)]
        finally:
            db.close()

    def findings(self):
        db = sqlite.open_reader(self.db)
        try:
            return [str(finding) for finding in audit.audit(db)]
        finally:
            db.close()


@pytest.fixture
def loop(tmp_path):
    made = Loop(tmp_path)
    yield made
    made.stop()


def celsius(number):
    return f"T=+{number / 10:05.1f}C\r\n".encode()


def test_a_clock_set_back_an_hour_is_recorded_and_changes_no_duration(loop, monkeypatch):
    loop.open()
    for number in range(3):
        loop.hear(celsius(number))
    wait_until(lambda: loop.ask(do="status")["status"]["links"][0]["count"] == 3, "three readings")
    loop.clock.set_by_ms = -HOUR_MS
    wait_until(lambda: loop.rows("SELECT 1 FROM event WHERE kind = 'clock stepped'"), "the step recorded")
    for number in range(3, 6):
        loop.hear(celsius(number))
    loop.stop()
    by = json.loads(loop.rows("SELECT facts FROM event WHERE kind = 'clock stepped'")[0][0])["by_ms"]
    assert abs(by + HOUR_MS) < 100
    links = loop.rows("SELECT opened_utc_ms, opened_monotonic_ms FROM link ORDER BY id")
    (utc_before, monotonic_before), (utc_after, monotonic_after) = links
    assert monotonic_before == monotonic_after
    assert abs(utc_after - utc_before + HOUR_MS) < 100
    ats = [row[0] for row in loop.rows("SELECT at FROM reading ORDER BY id")]
    assert len(ats) == 6
    assert 0 <= ats[-1] - ats[0] < 60_000
    assert loop.findings() == []


def test_damage_on_the_line_is_shown_and_recorded(loop):
    loop.open()
    loop.items.put(Damaged("thermometer", {"framing": 3}))
    assert loop.ask(do="status")["status"]["links"][0]["line_errors"] == {"framing": 3}
    loop.stop()
    recorded = loop.rows("SELECT facts FROM event WHERE kind = 'line errors' AND link IS NOT NULL")
    assert [json.loads(facts) for (facts,) in recorded] == [{"framing": 3, "link": "thermometer"}]


def test_a_reading_taken_over_two_links_is_counted_on(loop):
    for number in range(3):
        loop.open()
        loop.hear(celsius(number) + b"T=+0")
        loop.lose()
    wait_until(lambda: loop.ask(do="status")["status"]["store"]["pending"] == 0, "all committed")
    status = loop.ask(do="status")["status"]["links"][0]
    assert (status["count"], status["rejected"]) == (3, 3)
    loop.stop()
    assert loop.rows("SELECT reason, count(*) FROM unread GROUP BY reason") == [("cut short: the stream ended", 3)]
    assert loop.findings() == []


def test_a_link_that_takes_no_bytes_is_asked_once_and_holds_nobody_up(loop):
    deaf = Deaf()
    loop.open("transmitter", deaf)
    loop.open()
    for number in range(5):
        loop.hear(celsius(number))
        wait_until(lambda n=number: loop.ask(do="status")["status"]["links"][0]["count"] > n, "the other link read")
    assert deaf.asked == 1


def test_what_memory_cannot_hold_is_counted_and_told(loop, monkeypatch):
    monkeypatch.setattr(writer, "MOST_PENDING", 20)
    monkeypatch.setattr(bench_loop, "BATCH_ROWS", 5)
    monkeypatch.setattr(bench_loop, "RETRY_S", 0.05)
    loop.open()
    loop.hear(celsius(0))
    wait_until(lambda: loop.ask(do="status")["status"]["store"]["committed"] == 1, "the first reading committed")
    other = sqlite.open_writer(loop.db)
    other.execute("BEGIN IMMEDIATE")
    for number in range(1, 51):
        loop.hear(celsius(number))
    wait_until(lambda: loop.ask(do="status")["status"]["store"]["not_kept"] == 30, "thirty readings not kept")
    status = loop.ask(do="status")["status"]
    assert status["store"]["state"] == "refusing"
    assert status["links"][0]["readings"][0]["shown"] == "005.0", "the display goes on"
    other.execute("ROLLBACK")
    other.close()
    wait_until(lambda: loop.ask(do="status")["status"]["store"]["committed"] == 21, "what was held is committed")
    loop.hear(celsius(51))
    loop.stop()
    facts = json.loads(loop.rows("SELECT facts FROM event WHERE kind = 'store refused'")[0][0])
    assert (facts["not_kept"], facts["bytes_not_kept"]) == (30, 30 * len(celsius(0)))
    assert [row[0] for row in loop.rows("SELECT counts FROM reading ORDER BY id")] == [*range(21), 51]
    assert loop.findings() == []


def test_requests_are_answered_while_instruments_talk_without_pause(loop):
    """The queue is never empty; time still passes, and asking is not put off."""
    loop.open()
    ended = threading.Event()

    def conversation():
        for number in count():
            if ended.is_set():
                return
            loop.hear(celsius(number % 1000))

    talking = threading.Thread(target=conversation, daemon=True)
    talking.start()
    try:
        before = loop.ask(do="status")["status"]["store"]["committed"]
        wait_until(lambda: loop.ask(do="status")["status"]["store"]["committed"] > before + 5000, "commits meanwhile")
    finally:
        ended.set()
        talking.join(5.0)


MEANT = {"job": "K-7", "step": "isolation", "phase": "cautions"}
NASTY = [
    {"do": "open job", "procedure": "microwave-oven", "ref": "K\n7"},
    {"do": "open job", "procedure": "microwave-oven", "ref": "K-\x00"},
    {"do": "open job", "procedure": "microwave-oven", "ref": "x" * 10_000},
    {"do": "open job", "procedure": "microwave-oven", "ref": 7},
    {"do": "open job", "procedure": "\x00"},
    {"do": "open job", "procedure": "x" * 10_000},
    {"do": "open job", "procedure": "/"},
    {"do": "open job", "procedure": "microwave-oven", "where": "nowhere"},
    {"do": "open job", "procedure": "microwave-oven", "plate": ["rated_power"]},
    {"do": "open job", "procedure": "microwave-oven", "plate": {"rated_power": "9" * 10_000}},
    {"do": "open job", "procedure": "microwave-oven", "personal": {f"name {n}": "x" for n in range(20)}},
    {
        "do": "open job",
        "procedure": "microwave-oven",
        "personal": {"owner": "a\nb\x00"},
        "who": "x\ny",
        "whence": "\x1b",
    },
    {"do": "act", "word": "note", "text": "two\nlines\x00", "who": "a\x00b", "whence": 7, **MEANT, "id": "note 0001"},
    {"do": "act", "word": "note", "text": "x", **MEANT, "id": "\x00" * 9},
    {"do": "act", "word": "go to", "to": "nowhere", **MEANT, "id": "go to nowhere"},
    {"do": "act", "word": "go to", **MEANT, "step": "nowhere", "id": "from nowhere"},
    {"do": "act", "word": "override", "reason": "\x7f", **MEANT, "step": "\n", "id": "override 1"},
    {"do": "act", "word": "next", **MEANT, "phase": "never", "id": "no such phase"},
    {"do": "act", "word": "next", **MEANT, "job": ["K-7"], "id": "no such job"},
    {"do": "act", "word": {"a": 1}},
    {"do": "photo", "job": "K-7", "name": "a\nb", "type": "image/png", "content": "AAAA"},
    {"do": "photo", "job": "K-7", "name": "x", "type": "image/png", "content": "é"},
    {"do": "try again", "link": "nobody"},
    {"do": "erase", "job": "nobody"},
    {"do": "conclude again", "job": "nobody"},
    {"do": "close job", "who": ["x"]},
    {"do": ""},
]


NO_REFERENCE = (
    "a job's reference has at most 60 characters, and something before and after each slash",
    "choose another one with --ref",
)
NO_LIMITS = ("this procedure has no limits for 'nowhere'", "its limits are the same everywhere: leave --where out")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"ref": "x" * 61}, NO_REFERENCE),
        ({"ref": "kitchen/"}, NO_REFERENCE),
        ({"ref": "../7"}, NO_REFERENCE),
        ({"where": "nowhere"}, NO_LIMITS),
    ],
)
def test_a_job_that_cannot_be_opened_says_why(loop, said, told):
    answered = loop.ask(do="open job", procedure="kettle-or-urn", **said)
    assert (answered["error"], answered["hint"]) == told


def test_no_request_ends_the_loop(loop):
    """Each is done or refused in words; what is done can be committed, sealed and audited."""
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    loop.act("acknowledge")
    for message in [*NASTY, {"do": "close job"}, *NASTY]:
        answered = loop.ask(**message)
        assert answered["ok"] or answered["error"], message
    assert loop.ask(do="status")["ok"]
    loop.stop()
    assert loop.findings() == []


# ---- acts ----


@pytest.mark.parametrize("left_out", ["job", "step", "phase", "id"])
def test_an_act_that_does_not_say_what_it_is_meant_for_is_refused(loop, left_out):
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    message = {"do": "act", "word": "acknowledge", "job": "K-7", "step": "", "phase": "cautions", "id": "a first tap"}
    del message[left_out]
    answered = loop.ask(**message)
    assert answered["error"] == (
        f"an act says what it is meant for, and has an identity of its own; missing: {left_out}"
    )
    assert loop.walk()["phase"] == "cautions"


def test_a_pedal_means_what_is_asked_now(loop):
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    assert loop.ask(do="act", word="press")["walk"]["step"] == "isolation"


def test_an_act_for_another_job_does_nothing(loop):
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    answered = loop.act("acknowledge", job="K-6")
    assert answered["error"] == "that was meant for job K-6; job K-7 is at hand: nothing was done"
    assert loop.walk()["step"] == ""


def test_three_taps_on_a_slow_link_are_one_act(loop):
    """Each tap of a page that did not change in between names the step that it showed."""
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    loop.reads()
    loop.act("confirm")
    loop.reads()
    shown = loop.walk()
    assert (shown["step"], shown["phase"]) == ("damage", "look")
    taps = [loop.act("confirm", step=shown["step"], phase=shown["phase"]) for _ in range(3)]
    assert [tap["ok"] for tap in taps] == [True, False, False]
    assert loop.walk()["step"] == "lead-check"


def test_the_reason_written_for_one_check_skips_no_other(loop):
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    loop.act("acknowledge")
    loop.act("go to", to="lead-check")
    page = loop.walk()
    loop.act("go to", to="plug-dead")
    late = loop.act("skip", step=page["step"], phase=page["phase"], text="leads are new")
    assert late["error"].startswith("That was meant for “Probe tips pressed together”; the walk stands at “No stored")
    assert {each["key"]: each["state"] for each in loop.walk()["steps"]}["plug-dead"] == ""


def test_an_act_sent_again_is_answered_as_it_was_and_kept_once_under_its_step(loop):
    loop.ask(do="open job", procedure="microwave-oven", ref="K-7")
    loop.reads()
    meant = {"job": "K-7", "step": "isolation", "phase": "look", "id": "a tap that is sent twice"}
    assert [loop.ask(do="act", word="confirm", **meant)["ok"] for _ in range(2)] == [True, True]
    assert loop.walk()["step"] == "damage"
    loop.stop()
    acts = loop.rows("SELECT s.key, e.kind FROM event e JOIN step s ON s.id = e.step WHERE e.kind LIKE 'act %'")
    assert acts == [("isolation", "act acknowledge"), ("isolation", "act confirm")]


# ---- what a person or an instrument writes ends nothing ----

CONTROLS = ["line\nend", "tab\tstop", "bell\x07", "delete\x7f", "next line\x85", "nul\x00", "u\u2028v", "\u202eback"]


@pytest.mark.parametrize("typed", CONTROLS, ids=ascii)
@pytest.mark.parametrize(
    "message",
    [
        {"do": "act", "word": "skip"},
        {"do": "act", "word": "note"},
        {"do": "act", "word": "confirm"},
        {"do": "conclude again", "job": "1", "rule": "simple-acceptance", "reason": "@"},
        {"do": "enter", "entries": {"vessel": "@"}},
        {"do": "enter", "entries": {"@": "340 g glass"}},
        {"do": "open job", "procedure": "microwave-oven", "ref": "@"},
        {"do": "try again", "link": "@"},
        {"do": "photo", "job": "1", "name": "@", "type": "image/png", "content": "AAAA"},
    ],
    ids=lambda message: message["do"] + " " + message.get("word", ""),
)
def test_no_character_ends_the_daemon(loop, message, typed):
    opened = loop.ask(do="open job", procedure="microwave-oven", ref="1", plate={"rated output": "900 W"})
    assert opened["ok"], opened
    assert loop.act("acknowledge")["ok"]
    if message["do"] == "act":
        answer_request = loop.act(message["word"], text=typed)
    else:
        answer_request = loop.ask(**json.loads(json.dumps(message).replace('"@"', json.dumps(typed))))
    assert answer_request["ok"] or "mistake in meterlog" not in answer_request["error"], answer_request
    assert loop.ask(do="act", word="note", text="still here", id=secrets.token_hex(8), **loop.meant())["ok"]
    loop.stop()
    assert loop.findings() == []
    assert loop.rows("SELECT count(*) FROM disclosure WHERE value = 'still here'") == [(1,)]


def test_a_machines_words_are_kept_with_their_control_characters_shown(loop):
    loop.open()
    loop.items.put(StateChanged("thermometer", LinkState.WAITING, "no \x07 port\nhere \x7f", "", 0.0))
    assert loop.ask(do="status")["ok"]
    loop.stop()
    [(facts,)] = loop.rows("SELECT facts FROM event WHERE kind = 'link waiting'")
    assert json.loads(facts)["why"] == "no \x07 port\nhere \x7f"
    assert loop.findings() == []


def test_an_unknown_link_is_refused_with_the_near_one(loop):
    answer_request = loop.ask(do="try again", link="thermometr")
    assert answer_request == {
        "ok": False,
        "error": "there is no link 'thermometr'",
        "hint": "did you mean 'thermometer'?",
    }


@pytest.mark.parametrize("bomb", ["900 W*9**9**9", "1 W/0", "W" * 20_000, "(" * 3000, "9" * 100_000, "1e400 W"])
def test_a_unit_of_any_length_stops_nobody(loop, bomb):
    answer_request = loop.ask(do="open job", procedure="microwave-oven", plate={"rated output": bomb})
    assert answer_request["wrong"] is True
    assert loop.ask(do="status")["ok"]


def test_a_mistake_of_ours_in_a_turn_still_keeps_what_waited(loop, monkeypatch):
    loop.open()
    loop.hear(celsius(1))
    wait_until(lambda: loop.ask(do="status")["status"]["links"][0]["count"] == 1, "the reading taken")
    raised = threading.Event()
    monkeypatch.setattr(threading, "excepthook", lambda _: raised.set())
    monkeypatch.setattr(loop.loop.desk, "tick", lambda _: 1 / 0)
    loop.items.put(LineChanged("thermometer", "cts on", 0.0))
    loop._thread.join(20)
    assert raised.is_set(), "a mistake is not hidden"
    assert loop.rows("SELECT count(*) FROM reading") == [(1,)]


# ---- what is shown as live is live ----


def link_of(loop, source="thermometer"):
    return next(link for link in loop.ask(do="status")["status"]["links"] if link["link"] == source)


def test_bytes_that_are_no_reading_are_not_listened_to(loop, monkeypatch):
    monkeypatch.setattr(states, "SILENT_LEAST_S", 0.2)
    monkeypatch.setattr(states, "STALE_LEAST_S", 0.1)
    loop.open()
    loop.items.put(StateChanged("thermometer", LinkState.LISTENING, "", "", loop.clock.monotonic()))
    loop.hear(celsius(215))
    wait_until(lambda: link_of(loop)["count"] == 1, "a reading")
    assert (link_of(loop)["state"], link_of(loop)["readings"][0]["is_stale"]) == ("listening", False)

    def unread():
        loop.hear(b"T=+02?.5C\r\n")
        return link_of(loop)["state"] == "not understood"

    wait_until(unread, "bytes without a reading told")
    link = link_of(loop)
    assert link["why"].startswith("bytes come, and none of them is a reading: ")
    assert link["hint"] == "is it the right profile, and the right baud rate?"
    assert link["readings"][0]["is_stale"] is True, "the digits are no longer what the display shows"
    wait_until(lambda: link_of(loop)["state"] == "silent", "silence told")
    assert link_of(loop)["hint"] == "is it switched on, and its output too?"

    def read():
        loop.hear(celsius(216))
        return link_of(loop)["state"] == "listening"

    wait_until(read, "listening again")
    assert link_of(loop)["readings"][0]["is_stale"] is False
    loop.stop()
    told = loop.rows("SELECT kind FROM event WHERE kind LIKE 'link %' ORDER BY id")
    assert [kind for (kind,) in told] == ["link listening", "link not understood", "link silent", "link listening"]


def test_a_watcher_is_told_when_a_reading_grows_old(loop, monkeypatch):
    monkeypatch.setattr(states, "STALE_LEAST_S", 0.1)
    watcher = loop.announcer.watch()
    loop.open()
    loop.hear(celsius(215))
    ages = []
    while not any(ages):
        said = watcher.get(timeout=20)
        if said["event"] == "reading":
            ages += [reading["is_stale"] for reading in said["readings"]]
    assert ages[0] is False


def test_a_lost_links_readings_are_old_at_once(loop):
    loop.open()
    loop.hear(celsius(215))
    wait_until(lambda: link_of(loop)["count"] == 1, "a reading")
    loop.lose()
    wait_until(lambda: link_of(loop)["readings"][0]["is_stale"], "its reading told as old")
    loop.open()
    assert link_of(loop)["readings"][0]["is_stale"] is True, "a link that is open again has shown nothing yet"


def test_what_is_told_as_taken_is_on_disk_first(loop, monkeypatch):
    """The verdict and the walk that shows it are told after the commit; a shout is not held back."""
    order = []
    commit, tell = loop.writer.commit, loop.announcer.tell

    def committing(now):
        if loop.writer.has_acts:
            order.append("commit")
        return commit(now)

    def telling(announcement):
        order.append(EVENTS[type(announcement)])
        tell(announcement)

    monkeypatch.setattr(loop.writer, "commit", committing)
    monkeypatch.setattr(loop.announcer, "tell", telling)
    assert loop.ask(do="open job", procedure="microwave-oven")["ok"]
    wait_until(lambda: "walk" in order, "the walk told")
    told = [each for each in order if each in ("commit", "job", "walk")]
    assert told.index("commit") < told.index("job") < told.index("walk")


# ---- erasing ----


def found_in_files(loop, text):
    """The database's files that hold a text."""
    return [each.name for each in loop.db.parent.glob(loop.db.name + "*") if text in each.read_bytes()]


def test_an_erasure_says_what_is_still_there_and_finishes_it(loop):
    loop.ask(do="open job", procedure="microwave-oven", ref="1", personal={"owner": "Invented Owner-Name"})
    reader = sqlite.open_reader(loop.db)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM event").fetchone()
    answer_request = loop.ask(do="erase", job="1")
    assert (answer_request["ok"], answer_request["erased"]) == (True, 1)
    assert answer_request["still_there"] == bench_loop.STILL_THERE
    assert found_in_files(loop, b"Invented Owner-Name"), "the answer tells the truth"
    reader.close()
    wait_until(lambda: not loop.ask(do="status")["status"]["store"]["still_there"], "the rest erased")
    assert found_in_files(loop, b"Invented Owner-Name") == []


def test_an_erasure_that_the_database_refuses_is_told_and_done_later(loop, monkeypatch):
    monkeypatch.setattr(bench_loop, "RETRY_S", 0.05)
    loop.ask(do="open job", procedure="microwave-oven", ref="1", personal={"owner": "Invented Owner-Name"})
    other = sqlite.open_writer(loop.db)
    other.execute("BEGIN IMMEDIATE")
    answer_request = loop.ask(do="erase", job="1")
    assert answer_request["error"].startswith(
        "not erased yet: 1 personal fields are still in the database: the database did not"
    )
    assert answer_request["hint"] == "they are erased as soon as it takes that; do not repeat it"
    other.execute("ROLLBACK")
    other.close()
    wait_until(lambda: not loop.ask(do="status")["status"]["store"]["still_there"], "the rest erased")
    assert found_in_files(loop, b"Invented Owner-Name") == []
    assert loop.ask(do="erase", job="1")["erased"] == 0


# ---- an instrument that the bench does not have ----


def test_an_instrument_that_nothing_can_answer_for_is_told_at_once_and_at_its_step(loop):
    assert loop.ask(do="open job", procedure="safety-class-1", ref="K-9")["absent"] == ["safety-tester"]
    loop.reads()
    assert loop.walk()["absent"] == ""
    walk = loop.act("go to", to="earth-current")["walk"]
    assert walk["absent"] == "safety-tester"
    assert walk["words"].startswith(
        "This check asks for the instrument safety-tester, which this bench does not have: "
        "type what it shows, or skip the check with the reason. "
    )


# ---- a job that goes on ----

OPENED_AGAIN = """\
procedure: opened-again
title: An appliance that is opened again
protection class: II
appliance: an invented heater
source: invented
cautions: [isolate]
points:
  outside: {pin: a pin, case: the case}
  inside: {tab: a tab, core: the core}
steps:
  - {step: dead, kind: dead, title: Dead, points: [pin, case], mode: ac+dc, known source: 9 V,
     limits: [{is: at most 34 V, source: invented, mark: common practice}]}
  - {step: winding, kind: measure, title: Winding, points: [tab, core], quantity: resistance}
  - {step: refitted, kind: look, title: Refitted, cautions: [refit]}
  - {step: earth, kind: measure, title: Earth, points: [pin, case], quantity: resistance, needs: [refitted],
     limits: [{is: at most 0.3 ohm, source: invented, mark: common practice}]}
  - {step: insulation, kind: measure, title: Insulation, points: [pin, case], quantity: insulation_resistance,
     test voltage: 500 V, needs: [refitted, earth], cautions: [insulation-voltage],
     limits: [{is: at least 1 Mohm, source: invented, mark: common practice}]}
  - {step: run, kind: look, title: It runs, energised: true, cautions: [attend], needs: [refitted, earth, insulation]}
  - {step: handed-back, kind: look, title: Handed back, needs: [run]}
"""


def test_what_a_gate_was_passed_without_is_missing_behind_it_after_a_break_too(tmp_path):
    (tmp_path / "opened-again.yaml").write_text(OPENED_AGAIN)
    before = Loop(tmp_path)
    before.ask(do="open job", procedure=str(tmp_path / "opened-again.yaml"), ref="K-9")
    before.act("acknowledge")
    before.act("go to", to="run")
    before.reads()
    before.act("override", text="invented: proved on the workshop's tester")
    assert before.act("confirm")["walk"]["needs"] == ["refitted", "earth", "insulation"]
    before.stop()
    after = Loop(tmp_path)
    after.act("acknowledge")
    assert (after.walk()["step"], after.walk()["needs"]) == ("handed-back", ["refitted", "earth", "insulation"])
    after.stop()


def test_what_was_to_be_done_again_still_is_after_a_break(tmp_path):
    (tmp_path / "opened-again.yaml").write_text(OPENED_AGAIN)
    before = Loop(tmp_path)
    before.ask(do="open job", procedure=str(tmp_path / "opened-again.yaml"), ref="K-8")
    assert before.act("acknowledge")["ok"]
    before.act("go to", to="refitted")
    before.reads()
    assert before.act("confirm", id="it is refitted")["ok"]
    before.act("go to", to="winding")
    assert before.act("override", text="invented: it is on the bench, unplugged")["walk"]["phase"] == "watch"
    before.stop()
    after = Loop(tmp_path)
    walk = after.walk()
    assert {each["key"]: each["state"] for each in walk["steps"]}["refitted"] == "to do again"
    sent_again = {"job": "K-8", "step": "refitted", "phase": "look", "id": "it is refitted"}
    assert after.ask(do="act", word="confirm", **sent_again)["ok"]
    assert after.walk() == walk
    assert after.act("acknowledge")["walk"]["step"] == "winding"
    after.act("go to", to="earth")
    assert after.walk()["needs"] == ["refitted"]
    after.stop()
    assert after.findings() == []


# ---- rubbish ----


def test_bytes_without_a_message_are_kept_up_to_a_bound_then_counted_and_tried_again(loop, monkeypatch):
    monkeypatch.setattr(station, "UNREAD_KEPT", 1_000)
    monkeypatch.setattr(station, "UNREAD_AGAIN", 100)
    monkeypatch.setattr(bench_loop, "ASIDE_S", 0.2)
    loop.open(link=Deaf())
    loop.hear(celsius(214))
    sent = 0

    def rubbish():
        nonlocal sent
        sent += 500
        loop.hear(b"T=+02?.5C\r\n" * 45 + b"12345")
        return link_of(loop)["bytes_not_kept"] > 20_000

    wait_until(rubbish, "more sent than is kept")
    kept = loop.rows("SELECT coalesce(sum(length(raw)), 0) FROM chunk")[0][0]
    assert kept < sent / 2

    def read():
        loop.hear(celsius(215))
        return link_of(loop)["readings"][0]["shown"] == "021.5"

    wait_until(read, "taken up again")
    loop.hear(celsius(216))
    wait_until(lambda: link_of(loop)["readings"][0]["shown"] == "021.6", "and read on")
    loop.stop()
    told = [json.loads(facts) for (facts,) in loop.rows("SELECT facts FROM event WHERE kind = 'set aside' ORDER BY id")]
    assert told[0]["bytes_not_kept"] == 0
    assert told[-1]["bytes_not_kept"] > 0
    shown = [digits for (digits,) in loop.rows("SELECT shown FROM readings ORDER BY id")]
    assert (shown[0], shown[-1]) == ("021.4", "021.6")
    assert loop.findings() == [], "what was kept is read again as it was"


def test_a_loop_that_was_held_up_finds_no_silence_in_what_waits_for_it(loop, monkeypatch):
    """Half a message was taken, the disk took a second, the other half waits: it had come in time."""
    monkeypatch.setattr(bench_loop, "BATCH_ROWS", 0)  # one item a turn, as in a flood
    loop.open()
    loop.hear(celsius(214))
    wait_until(lambda: link_of(loop)["count"] == 1, "the first reading")
    commit, held = loop.writer.commit, threading.Event()

    def slow(now):
        held.wait(1.2)  # longer than the silence that ends a message
        held.set()
        return commit(now)

    monkeypatch.setattr(loop.writer, "commit", slow)
    loop.hear(celsius(215) + celsius(216)[:5])
    reply = queue.Queue(1)
    loop.items.put(PendingRequest({"do": "try again", "link": "thermometer"}, reply))
    loop.hear(celsius(216)[5:])
    wait_until(lambda: link_of(loop)["count"] == 3, "both readings")
    assert link_of(loop)["rejected"] == 0
