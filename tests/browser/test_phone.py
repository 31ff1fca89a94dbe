"""One thumb on a phone, a slow link, a second phone watching, and a job that goes wrong."""

import time

import pytest
from browser.conftest import PHONES
from browser.hands import press, task
from edge.bench import wait_until
from players.segments import frame
from playwright.sync_api import expect

LATENCY_MS = 1200
UPRIGHT = {"width": 360, "height": 640}


def slow(page, latency_ms=LATENCY_MS):
    """Every request of a page waits from now on."""
    told = {"offline": False, "latency": latency_ms, "downloadThroughput": -1, "uploadThroughput": -1}
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", told)


def looks_over(page, address):
    """Open the bench at the first step's cautions, and slow the link down."""
    page.set_viewport_size(UPRIGHT)
    page.goto(address)
    task(page, "Cord looked over")
    page.wait_for_timeout(400)  # its stream is open
    slow(page)
    return page


@pytest.fixture
def phone(meter, kettle, browse, page_of):
    """(daemon, a phone at the first step's cautions, on a slow link)"""
    daemon = meter[0]
    daemon.ask("open job", procedure=kettle, ref="B-1")
    daemon.act("acknowledge")
    return daemon, looks_over(page_of("phone"), browse(daemon.db) + "/bench")


@pytest.fixture
def phones(phone, page_of):
    """(daemon, two such phones)"""
    daemon, page = phone
    return daemon, page, looks_over(page_of("phone"), page.url)


def acts(daemon):
    return [kind for (kind,) in daemon.rows("SELECT kind FROM event WHERE kind LIKE 'act %' ORDER BY id")][1:]


def walk(daemon):
    return daemon.ask("status")["status"]["walk"]


def wait_for_phase(daemon, phase):
    wait_until(lambda: walk(daemon)["phase"] == phase, f"the phase {phase}")


def test_a_tap_is_seen_at_once_and_three_taps_are_one_act(phones):
    daemon, page, other = phones
    button = page.get_by_role("button", name="I have read them")
    began = time.monotonic()
    button.click()
    expect(page.locator("button.taken")).to_be_visible(timeout=500)
    assert time.monotonic() - began < LATENCY_MS / 1000  # before any answer can have come
    for _ in range(3):
        page.locator("#act-1").click(force=True)
    wait_for_phase(daemon, "look")
    well = page.get_by_role("button", name="Looked: it is well")
    expect(well).to_be_visible()
    assert well.get_attribute("aria-disabled") == "true"  # it has only just come to mean that
    expect(other.get_by_role("button", name="Looked: it is well")).to_be_visible()
    expect(well).not_to_have_attribute("aria-disabled", "true")
    assert acts(daemon) == ["act acknowledge"]


def test_what_was_looked_at_is_answered_with_words_and_never_passed_over(phone):
    daemon, page = phone
    press(page, "I have read them")
    expect(page.get_by_role("button", name="Looked: it is well")).to_be_visible()
    assert page.get_by_role("button", name="Next").count() == 0
    page.get_by_text("Looked: it is not well").click()
    keep = page.get_by_role("button", name="Keep it, and go on")
    keep.click()
    assert walk(daemon)["phase"] == "look"  # nothing without words
    page.get_by_label("What is not well").fill("the cord is cut")
    expect(keep).not_to_have_attribute("aria-disabled", "true")
    keep.click()
    wait_until(lambda: "act wanting" in acts(daemon), "the words to arrive")
    assert daemon.rows("SELECT facts FROM event WHERE facts LIKE '%the cord is cut%'")


def test_a_phone_that_stood_open_changes_nothing_at_another_step(phones):
    daemon, page, other = phones
    sent = []  # until it sends, the other phone shows what it showed
    other.on("request", lambda asked: sent.append(asked) if asked.method == "POST" else None)
    other.route("**/bench/at-hand", lambda route: route.continue_() if sent else route.abort())
    daemon.act("acknowledge")
    daemon.act("confirm")
    at = walk(daemon)["step"]
    press(other, "I have read them")
    told = other.locator("#answer")
    expect(told).to_contain_text("Cord looked over")
    expect(told).to_contain_text("Probe tips pressed together")
    expect(told).to_contain_text("Nothing was done.")
    assert (walk(daemon)["step"], acts(daemon)) == (at, ["act acknowledge", "act confirm"])
    task(other, "Probe tips pressed together")
    expect(told).to_contain_text("Nothing was done.")  # what is drawn since does not take the answer away
    task(page, "Probe tips pressed together")


def test_nothing_waits_unseen_while_the_daemon_is_away(phone):
    daemon, page = phone
    daemon.kill()
    expect(page.locator("#lost")).to_contain_text("What stands below is old.", timeout=4000)
    press(page, "I have read them")
    expect(page.locator("#answer")).to_contain_text("nothing was sent, and nothing waits to be sent")
    daemon.start()
    expect(page.locator("#lost")).to_be_hidden()
    expect(page.locator("#answer")).to_be_empty()
    page.wait_for_timeout(LATENCY_MS)
    assert acts(daemon) == []


def test_after_stop_there_are_words_and_a_button_and_no_word_of_mains(meter, browse, page_of):
    daemon, _, celsius = meter
    daemon.ask("open job", procedure="kettle-or-urn", ref="B-3", plate={"rated power": "2000 W", "water mass": "1 kg"})
    daemon.act("acknowledge")
    daemon.act("go to", to="heating-run")
    for _ in range(4):
        phase = walk(daemon)["phase"]
        if phase == "stir":
            break
        daemon.act(
            {"cautions": "acknowledge", "gate": "override"}[phase], **({"text": "tried"} if phase == "gate" else {})
        )
    page = page_of("phone")
    page.set_viewport_size(UPRIGHT)
    page.goto(browse(daemon.db) + "/bench")
    celsius.write(b"T=+023.5C\r\n")
    expect(page.locator(".display-main .digits-number")).to_have_text("023.5")
    expect(page.locator(".mains")).to_have_text("with mains on")
    slow(page)
    expect(page.locator(".asks")).to_contain_text("Put the whole probe under the surface")
    press(page, "The whole probe is under")
    expect(page.locator(".asks")).to_contain_text("Hold it there for half a minute.")
    expect(page.get_by_role("button", name="Start")).not_to_have_attribute("aria-disabled", "true")
    press(page, "Start")
    expect(page.locator(".mains")).to_have_text("mains is on")
    celsius.write(b"T=+024.0C\r\n")
    expect(page.locator(".display-main .digits-number")).to_have_text("024.0")
    expect(page.locator("#elapsed")).to_be_in_viewport()
    expect(page.locator(".display-main .digits-number")).to_be_in_viewport()
    expect(page.get_by_role("button", name="Stop")).not_to_have_attribute("aria-disabled", "true")
    press(page, "Stop")
    wait_for_phase(daemon, "after")
    expect(page.locator("#act-1")).not_to_have_text("Stop")
    expect(page.locator(".asks")).to_have_text(walk(daemon)["words"])
    expect(page.locator(".mains")).to_have_count(0)
    expect(page.locator(".elapsed")).to_contain_text("s since Stop")
    expect(page.locator(".elapsed")).to_be_in_viewport()
    expect(page.locator(".asks")).to_be_in_viewport()
    press(page, "The whole probe is under")
    expect(page.locator(".asks")).to_contain_text("the level and its drift are waited for")
    assert page.evaluate(FITS) == []


def test_digits_that_are_no_longer_read_are_struck_through_and_said(phone, player):
    daemon, page = phone
    daemon.act("acknowledge")
    daemon.act("confirm")
    player.ohms = 47.1
    digits = page.locator(".display-main .digits")
    expect(page.locator(".display-main .digits-number")).to_have_text("047.1")
    expect(digits).to_have_css("text-decoration-line", "none")
    unread = bytearray(frame("047.1", "ohm"))
    unread[3] = 0xFF
    player.frame = bytes(unread)
    expect(digits).to_have_css("text-decoration-line", "line-through")
    expect(page.locator(".display-main .display-state")).to_contain_text("no longer read")
    streams = []
    page.route("**/bench/stream", lambda route: streams.append(route))  # held: nothing comes yet
    page.reload()
    expect(digits).to_have_css("text-decoration-line", "line-through")
    expect(page.locator("#lost")).to_contain_text("This page is not connected yet.")
    press(page, "Take it now")
    refused = page.locator("#answer")
    expect(refused).to_contain_text("nothing shows now")
    streams[0].continue_()
    expect(page.locator("#lost")).to_be_hidden()
    expect(refused).to_contain_text("nothing shows now")  # the bench was found, and its answer still stands
    assert daemon.rows("SELECT count(*) FROM capture") == [(0,)]
    expect(digits).to_have_css("text-decoration-line", "line-through")
    expect(page.locator(".display-main .display-state")).to_contain_text("no longer read")


FITS = """() => {
  const bar = document.querySelector(".bar").getBoundingClientRect();
  const seen = el => {
    const box = el.getBoundingClientRect();
    return box.height > 0 && box.top >= 0 && box.bottom <= bar.top + 1 && box.left >= 0 && box.right <= innerWidth + 1;
  };
  const cut = ["#task", ".lead", ".wanted p", ".display-main .digits-number", ".asks"].flatMap(name =>
    [...document.querySelectorAll(name)].filter(el => !seen(el)).map(el => name + ": " + el.textContent.trim()));
  const button = document.querySelector(".bar-main > :first-child").getBoundingClientRect();
  if (button.bottom > innerHeight || button.height < 44) cut.push("the button");
  if (document.documentElement.scrollWidth > innerWidth) cut.push("sideways");
  if (document.querySelectorAll(".digits-number").length === 0) cut.push("no digits");
  return cut;
}"""


def test_every_step_fits_every_phone_without_scrolling(meter, player, browse, page_of):
    """Of the longest procedure: the checks with the longest titles, points and cautions of all stand in it."""
    daemon = meter[0]
    player.ohms = 1234.0
    daemon.ask("open job", procedure="microwave-oven", ref="B-4")
    page = page_of("phone")
    page.goto(browse(daemon.db) + "/bench")
    found = []

    def look():
        now = walk(daemon)
        page.wait_for_selector(f'.bench[data-step="{now["step"]}"][data-phase="{now["phase"]}"]')
        for width, height in PHONES:
            page.set_viewport_size({"width": width, "height": height})
            cut = page.evaluate(FITS)
            if cut:
                found.append((now["step"], now["phase"], width, height, cut))

    look()
    daemon.act("acknowledge")
    for step in walk(daemon)["steps"]:
        daemon.act("go to", to=step["key"])
        if walk(daemon)["phase"] == "cautions":
            look()
            daemon.act("acknowledge")
        if walk(daemon)["phase"] == "gate":
            daemon.act("override", text="to see how it looks")
        look()
    assert found == []


def test_the_bar_leaves_the_task_in_sight_and_hides_nothing_that_has_the_focus(phone):
    daemon, page = phone
    daemon.act("acknowledge")
    expect(page.get_by_role("button", name="Looked: it is well")).to_be_visible()
    for width, height in PHONES:
        page.set_viewport_size({"width": width, "height": height})
        page.get_by_text("More", exact=True).click()
        page.locator("#more-skip summary").click()
        expect(page.get_by_label("Why it is skipped")).to_be_visible()
        assert page.locator(".bar").bounding_box()["height"] < 0.58 * height, (width, height)
        task(page, "Cord looked over")
        page.evaluate("document.querySelectorAll('.bar details').forEach(fold => { fold.open = false; })")
    page.set_viewport_size(UPRIGHT)
    hidden = """() => {
      const el = document.activeElement, bar = document.querySelector(".bar"), box = el.getBoundingClientRect();
      return !bar.contains(el) && el !== document.body && box.bottom > bar.getBoundingClientRect().top + 1
        ? el.textContent : null; }"""
    page.locator("body").focus()
    for _ in range(30):
        page.keyboard.press("Tab")
        assert page.evaluate(hidden) is None


def test_the_focus_stays_when_the_words_of_a_button_change(phone):
    daemon, page = phone
    page.locator("#act-1").focus()
    page.keyboard.press("Enter")
    wait_for_phase(daemon, "look")
    expect(page.locator("#act-1")).to_have_text("Looked: it is well")
    assert page.evaluate("document.activeElement.id") == "act-1"


def test_a_sentence_goes_with_the_state_that_it_names(phone, player, meter):
    daemon, page = phone
    daemon.act("acknowledge")
    daemon.act("confirm")
    task(page, "Probe tips pressed together")
    state = page.locator(".display-main .display-state")
    expect(state).to_contain_text("probes apart")
    asked = []
    page.route("**/bench/at-hand", lambda route: asked.append(route))  # held: the server draws nothing new
    player.frame = frame("09.12", "V", "dc")
    expect(page.locator(".display-main .digits-unit")).to_have_text("V")
    expect(state).not_to_contain_text("probes apart")
    page.unroute("**/bench/at-hand")
    for route in asked:
        route.continue_()
    expect(state).to_contain_text("this check wants resistance")
    expect(page.locator(".scale-words")).to_have_text("")
    player.frame = None
    expect(state).to_contain_text("probes apart")
    player.ohms = 20.0
    page.wait_for_timeout(2500)  # settled, and no tips that are pressed together
    player.ohms = None
    expect(page.locator("#answer")).to_contain_text("Not taken")
    player.ohms = 20.0
    expect(page.locator("#answer")).to_be_empty()


def test_seven_tabs_of_one_browser_all_act(meter, player, kettle, browse, page_of):
    daemon = meter[0]
    daemon.ask("open job", procedure=kettle, ref="B-7")
    first = page_of("phone")
    home = browse(daemon.db)
    tabs = [first, *(first.context.new_page() for _ in range(7))]
    for tab in tabs:
        tab.set_default_timeout(15_000)
        tab.goto(home + "/bench")
    player.ohms = 12.3
    for tab in tabs:
        expect(tab.locator(".display-main .digits-number")).to_have_text("012.3")
    press(tabs[-1], "I have read them")
    for tab in tabs:
        task(tab, "Cord looked over")
    tabs[0].close()  # the one that listened for the others
    player.ohms = 45.6
    for tab in tabs[1:]:
        expect(tab.locator(".display-main .digits-number")).to_have_text("045.6")


def taken(page, player, ohms, title):
    """Hold the probes on a step's points until its capture is taken, then lift them."""
    task(page, title)
    player.ohms = ohms
    expect(page.locator(f'.bench[data-step="{STEPS[title]}"][data-phase="watch"]')).to_have_count(0, timeout=20_000)
    player.ohms = None


STEPS = {"Probe tips pressed together": "leads", "Protective conductor": "earth", "Heating element": "element"}


def test_a_job_that_went_wrong_by_one_thumb_with_a_second_phone_watching(phones, player):
    daemon, page, other = phones
    press(page, "I have read them")
    press(page, "Looked: it is well")
    taken(page, player, 0.2, "Probe tips pressed together")
    taken(page, player, 8.1, "Protective conductor")
    for each in (page, other):
        seen = each.get_by_role("alert", name="To be seen")
        for words in ("fail", "008.1 Ω", "Protective conductor", "a broken conductor"):
            expect(seen).to_contain_text(words)
    taken(page, player, 19.6, "Heating element")  # hands-free, while the fail still stands there
    for each in (page, other):
        expect(each.get_by_role("alert", name="To be seen")).to_contain_text("008.1 Ω")
    press(page, "Seen")
    expect(page.locator(".ending")).to_contain_text("Did not pass: do not use.")
    expect(page.locator(".ending")).to_contain_text("Protective conductor failed")
    expect(other.get_by_role("alert", name="To be seen")).to_be_visible()  # nobody has seen it there
    page.get_by_text("Close the job …").click()
    assert walk(daemon)["phase"] == "done"  # one tap closes nothing
    expect(page.get_by_role("button", name="Close it as it stands")).to_be_visible()
    press(page, "Back to what is open")
    taken(page, player, 0.3, "Protective conductor")
    expect(page.locator(".tally")).to_contain_text("3 passed")
    expect(page.locator(".ending")).not_to_contain_text("Protective conductor")
    expect(other.get_by_role("alert", name="To be seen")).to_have_count(0)  # it no longer stands
    expect(page.get_by_role("link", name="Hand-over sheet")).to_be_visible()
    press(page, "Close the job")
    for each in (page, other):
        task(each, "No job is at hand")
    assert daemon.rows("SELECT step, outcome FROM verdicts WHERE counts ORDER BY id") == [
        ("leads", "pass"),
        ("element", "pass"),
        ("earth", "pass"),
    ]


CONTRAST = """() => {
  const channel = c => (c /= 255) <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => .2126 * channel(r) + .7152 * channel(g) + .0722 * channel(b);
  const colour = words => words.match(/[0-9.]+/g).map(Number);
  const ground = el => {
    const c = colour(getComputedStyle(el).backgroundColor);
    return c.length === 4 && !c[3] ? ground(el.parentElement) : c;
  };
  return [".live", ".lead dd", ".digits-number", "#task"].map(name => {
    const el = document.querySelector(name), own = colour(getComputedStyle(el).color);
    const pair = [own, ground(el)].map(light).sort((a, b) => b - a);
    return (pair[0] + .05) / (pair[1] + .05);
  });
}"""  # WCAG 2.2, relative luminance and contrast ratio


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_live_point_takes_the_whole_screen_until_it_is_acknowledged(meter, player, browse, page_of, scheme):
    daemon = meter[0]
    daemon.ask("open job", procedure="microwave-oven", ref="B-8")
    daemon.act("acknowledge")
    daemon.act("go to", to="plug-dead")
    while (phase := walk(daemon)["phase"]) in ("cautions", "gate"):
        daemon.act("acknowledge" if phase == "cautions" else "override", text="" if phase == "cautions" else "tried")
    page = page_of("phone", color_scheme=scheme)
    page.set_viewport_size(UPRIGHT)
    page.goto(browse(daemon.db) + "/bench")
    player.frame = frame("0.012", "V", "dc")
    expect(page.locator(".display-main .digits-number")).to_have_text("0.012")
    player.frame = frame("325.0", "V", "dc")
    live = page.locator(".screen-live .live")
    expect(live).to_contain_text("325.0 V")
    expect(live).to_contain_text("Take the tips off")
    assert min(page.evaluate(CONTRAST)) >= 4.5
    assert page.evaluate(FITS) == []
    player.frame = frame("0.012", "V", "dc")
    page.wait_for_timeout(1500)
    expect(live).to_contain_text("325.0 V")  # it stays, whatever shows since
    if scheme == "dark":  # and when the daemon was killed meanwhile
        daemon.kill()
        daemon.start()
        expect(page.locator("#lost")).to_be_hidden()
        expect(live).to_contain_text("325.0 V")
    page.get_by_role("button", name="I have seen it: begin the proof again").click()
    expect(live).to_have_count(0)
    expect(page.locator(".cautions")).to_be_visible()
