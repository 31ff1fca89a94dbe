"""The bench page in a real browser over the real daemon, its instruments played on pseudo-terminals."""

import time
from pathlib import Path

from browser.hands import PROCEDURE, measure, press, task, unfold
from players.segments import showing
from playwright.sync_api import expect
from records import small_png

DIGITS_PX = "parseFloat(getComputedStyle(document.querySelector('.digits')).fontSize)"
LEAST_DIGITS_PX = 68
"""Figures of 0.73 of it, 50 px, are 9.4 mm on a phone of 360 px and 68 mm: 16' of arc at two metres, by hand.
ISO 9241-303 asks for 16' at least (from memory)."""


def test_a_whole_job_is_driven_from_the_page(meter, player, kettle, browse, page_of):
    daemon, _, celsius = meter
    daemon.ask("open job", procedure=kettle, ref="B-1", plate={}, personal={"complaint": "Trips <b>at once</b>"})
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    celsius.write(b"T=+023.5C\r\n")
    expect(page.get_by_role("article").filter(has_text="thermometer").locator(".digits-number")).to_have_text("023.5")
    task(page, "Cord of a kettle")
    press(page, "I have read them")
    task(page, "Cord looked over")
    press(page, "I have read them")
    press(page, "Looked: it is well")
    task(page, "Probe tips pressed together")
    assert page.evaluate(DIGITS_PX) >= LEAST_DIGITS_PX
    measure(page, player, "Probe tips pressed together", 0.2, "pass")
    measure(page, player, "Protective conductor", 8.1, "fail")
    task(page, "Heating element")
    seen = page.get_by_role("alert", name="To be seen")
    for words in ("008.1 Ω", "Protective conductor", "outside the limit", "a broken conductor"):
        expect(seen).to_contain_text(words)
    press(page, "Seen")
    expect(seen).to_have_count(0)
    page.get_by_text("More", exact=True).click()
    page.get_by_text("Note", exact=True).click()
    page.get_by_label("Note on this check").fill("Element <i>looks</i> scaled")
    press(page, "Keep the note")
    page.get_by_text("Add a photograph").click()
    page.get_by_label("What it shows").fill("scale on the element")
    page.get_by_label("Picture").set_input_files({"name": "it.png", "mimeType": "image/png", "buffer": small_png()})
    press(page, "Add it to job B-1")
    expect(page.get_by_text("Kept with the job.")).to_be_visible()
    player.ohms = 19.6
    task(page, "Cord of a kettle")
    expect(page.locator(".ending")).to_contain_text("Did not pass: do not use.")
    page.get_by_role("link", name="Job B-1").first.click()
    for words in ("19.6 Ω", "8.1 Ω", "Trips <b>at once</b>", "Element <i>looks</i> scaled"):
        expect(page.get_by_text(words).first).to_be_visible()
    expect(page.get_by_role("img", name="scale on the element")).to_be_visible()
    page.get_by_label("What it shows").fill("rating plate")
    page.get_by_label("Picture").set_input_files({"name": "plate.png", "mimeType": "image/png", "buffer": small_png()})
    press(page, "Add it")
    expect(page.get_by_role("img", name="rating plate")).to_be_visible()
    page.get_by_role("link", name="verdict on Protective conductor").click()
    expect(page.get_by_label("How a message was read")).to_contain_text("flag auto range")
    press(page, "Recompute now")
    expect(page.get_by_text("Reached again just now, the same to the last digit:")).to_be_visible()
    assert daemon.rows("SELECT step, outcome FROM verdicts WHERE counts ORDER BY id") == [
        ("leads", "pass"),
        ("earth", "fail"),
        ("element", "pass"),
    ]
    page.get_by_role("link", name="Bench").click()
    page.get_by_text("Close the job …").click()
    press(page, "Close it as it stands")
    task(page, "No job is at hand")
    whos = daemon.rows("SELECT DISTINCT who, whence FROM event WHERE kind LIKE 'act %'")
    assert whos == [("page, owner", "127.0.0.1")]


def test_the_limit_is_a_band_with_the_reading_on_it(meter, player, kettle, browse, page_of):
    daemon = meter[0]
    daemon.ask("open job", procedure=kettle, ref="B-1", plate={}, personal={})
    for word in ("acknowledge", "acknowledge", "confirm"):
        daemon.act(word)
    daemon.act("go to", to="element")
    page = page_of("desktop")
    page.goto(browse(daemon.db) + "/bench")
    expect(page.get_by_role("img", name="Accepted: 15 .. 30 Ω")).to_be_visible()
    player.ohms = 40.0
    expect(page.locator(".scale-words")).to_have_text("now above the limit")
    player.ohms = 20.0
    expect(page.locator(".scale-words")).to_have_text("now inside the limit")


def test_a_skip_needs_its_reason(meter, kettle, browse, page_of):
    daemon = meter[0]
    daemon.ask("open job", procedure=kettle, ref="B-1", plate={}, personal={})
    daemon.act("acknowledge")
    daemon.act("acknowledge")
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    page.get_by_text("More", exact=True).click()
    page.get_by_text("Skip", exact=True).click()
    press(page, "Skip this check")
    task(page, "Cord looked over")
    page.get_by_label("Why it is skipped").fill("no daylight")
    press(page, "Skip this check")
    task(page, "Probe tips pressed together")


def test_a_lost_daemon_is_told_within_two_seconds_and_found_again(meter, browse, page_of):
    daemon = meter[0]
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    lost = page.get_by_role("alert")
    expect(page.get_by_role("heading", name="No job is at hand")).to_be_visible()
    expect(lost).to_be_hidden()
    page.wait_for_function("document.querySelectorAll('.display').length === 2")
    daemon.kill()
    began = time.monotonic()
    expect(lost).to_contain_text("Nothing is heard.", timeout=2000)
    assert time.monotonic() - began < 2.0
    daemon.start()
    expect(lost).to_be_hidden()
    page.route("**/bench/at-hand", lambda route: route.fulfill(status=500))
    daemon.ask("open job", procedure="transformer", ref="B-1")
    expect(lost).to_contain_text("The step at hand cannot be drawn.")
    page.unroute("**/bench/at-hand")
    task(page, "Mains transformer")
    expect(lost).to_be_hidden()


def test_digits_are_struck_through_once_they_are_old_and_not_before_there_are_any(meter, browse, page_of):
    daemon, ohms, _ = meter
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    struck = "[...document.querySelectorAll('.digits')].map(e => getComputedStyle(e).textDecorationLine)"
    page.wait_for_function("document.querySelectorAll('.display').length === 2")
    assert page.evaluate(struck) == ["none", "none"]
    ohms.write(showing("ohm", 0.4))
    expect(page.locator(".digits-number").first).to_contain_text(".4")
    daemon.kill()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is heard.")
    assert page.evaluate(struck) == ["line-through", "none"]


def test_a_daemon_that_only_stands_still_is_told_too(meter, browse, page_of):
    import os
    import signal

    daemon = meter[0]
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    expect(page.get_by_role("heading", name="No job is at hand")).to_be_visible()
    os.kill(daemon.process.pid, signal.SIGSTOP)
    expect(page.get_by_role("alert")).to_contain_text("Nothing is heard.", timeout=2500)
    os.kill(daemon.process.pid, signal.SIGCONT)
    expect(page.get_by_role("alert")).to_be_hidden()


def test_what_was_done_and_what_no_instrument_sent_is_written_on_the_page(meter, kettle, browse, page_of):
    daemon = meter[0]
    daemon.ask("open job", procedure=kettle, ref="B-9", plate={}, personal={})
    daemon.act("acknowledge")
    daemon.act("go to", to="earth")
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    task(page, "Protective conductor")
    page.get_by_text("More", exact=True).click()
    page.get_by_text("Type a reading", exact=True).click()
    page.get_by_label("What an instrument that is not heard showed").fill("0,4 Ohm")
    press(page, "Keep it, and go on")
    expect(page.get_by_text("write the value, its unit and the instrument").first).to_be_visible()
    page.get_by_label("What an instrument that is not heard showed").fill("0,4 Ohm ± 2 % + 3 digits on earth tester")
    press(page, "Keep it, and go on")
    task(page, "Heating element")
    unfold(page, "Part fitted")
    page.get_by_label("Part that was fitted").fill("cord")
    page.get_by_label("What is printed on it").fill("H05VV-F 3G1.0")
    page.get_by_label("Its check before it was fitted").select_option(label="Protective conductor")
    press(page, "Keep: this part was fitted")
    expect(page.get_by_label("Part that was fitted")).to_be_hidden()
    unfold(page, "Part fitted")
    page.get_by_label("What else was done to the appliance").fill("scale taken off")
    press(page, "Keep: this was done")
    expect(page.get_by_label("What else was done to the appliance")).to_be_hidden()
    page.goto(page.url.replace("/bench", "/report/B-9"))
    for words in ("cord", "H05VV-F 3G1.0", "0.4 Ω (typed)", "scale taken off"):
        expect(page.get_by_text(words).first).to_be_visible()


def test_a_job_is_opened_on_the_page(meter, browse, page_of):
    daemon = meter[0]
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    page.get_by_label("Open a job for").select_option(label="Microwave oven")
    assert page.evaluate("document.documentElement.scrollWidth") == page.viewport_size["width"]
    press(page, "Open")
    page.get_by_label("Job number").fill("B-2")
    page.get_by_label("rated output").fill("900 W")
    press(page, "Open the job")
    task(page, "Microwave oven")
    assert daemon.rows("SELECT ref, plate FROM job") == [("B-2", '{"rated output":"900 W"}')]


def test_what_a_step_asks_for_is_entered_when_it_is_wanted(meter, browse, page_of):
    daemon = meter[0]
    daemon.ask("open job", procedure="kettle-or-urn", ref="B-3")
    daemon.act("acknowledge")
    daemon.act("go to", to="heating-run")
    daemon.act("acknowledge")
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    page.get_by_text("Enter rated power, water mass, vessel").click()
    page.get_by_label("water mass").fill("1 litre or so")
    press(page, "Keep")
    expect(page.locator("#answer")).to_contain_text("water mass")
    page.get_by_label("water mass").fill("1000 g ± 2 g")
    press(page, "Keep")
    expect(page.get_by_label("water mass")).to_have_count(0)
    assert daemon.rows("SELECT facts FROM event WHERE kind = 'entries'") == [
        ('{"entries":{"water mass":"1000 g ± 2 g"}}',)
    ]


def test_without_a_daemon_the_record_is_still_read(tmp_path, browse, page_of):
    import records

    page = page_of("phone")
    page.goto(browse(records.make(tmp_path / "old.db")) + "/bench")
    expect(page.get_by_role("alert")).to_contain_text(
        "No daemon listens to the bench: it is started where the instruments stand."
    )
    page.get_by_role("link", name="Jobs", exact=True).click()
    expect(page.get_by_text("K-7")).to_be_visible()


def test_the_procedure_of_these_tests_is_sound():
    from meterlog.procedure.language import read_procedure

    assert len(read_procedure(PROCEDURE, str(Path("kettle-cord.yaml"))).steps) == 4
