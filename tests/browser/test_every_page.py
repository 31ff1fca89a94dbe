"""Every page at both sizes and in both colour schemes: accessible by axe, no sideways scrolling, no outside request."""

import re
import shlex

import pytest
import records
from axe_playwright_python.sync_playwright import Axe
from browser.hands import unfold
from click.testing import CliRunner
from playwright.sync_api import expect

from meterlog.cli import meterlog

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PAGES = [
    "/", "/jobs?words=none", "/job/K-7", "/capture/5", "/capture/4", "/verdict/6", "/bench", "/history",
    "/history/primary?appliance={oven}&job=K-7", "/report/K-7", "/report/K-7?evidence=1", "/record", "/record/verdicts",
    "/record/job_captures?job=K-7", "/record?sql=select+1", "/record/job/1", "/verdict/99", "/no/such/page",
    "/bench/open?procedure=microwave-oven",
]  # fmt: skip
OVEN = "household microwave oven with a transformer, high-voltage capacitor, diode and magnetron"
CONTROLS = "main button, main input:not([type=hidden]), main select, main textarea, main summary, .head a, .acts a"


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    return records.make(tmp_path_factory.mktemp("record") / "record.db")


@pytest.fixture
def home(database, browse):
    return browse(database)


STOCK = [path for path in PAGES if path.startswith("/record")]


@pytest.mark.parametrize(
    ("size", "scheme", "paths"), [("phone", "light", PAGES), ("phone", "dark", STOCK), ("desktop", "dark", PAGES)]
)
def test_pages_pass_axe_and_fit(home, page_of, size, scheme, paths):
    page = page_of(size, color_scheme=scheme)
    found = []
    for path in paths:
        page.goto(home + path)
        expect(page.get_by_role("main")).to_be_visible()
        answer = Axe().run(page, options={"runOnly": RULES}).response
        found += [(path, wrong["id"], wrong["nodes"][0]["html"]) for wrong in answer["violations"]]
        if path.startswith("/record"):
            continue
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > page.viewport_size["width"]:
            found.append((path, "wider than the screen", width))
        found += [(path, "small target", name) for name in page.evaluate(SMALL, CONTROLS)]
    assert found == []


BROKEN = """() => [...document.querySelectorAll("td.right, th.stamp, .stamp")].filter(cell => {
  const words = document.createRange(); words.selectNodeContents(cell);
  return new Set([...words.getClientRects()].map(line => Math.round(line.bottom / 8))).size > 1;
}).map(cell => cell.textContent)"""
SIGN = """() => [...document.querySelectorAll("main summary")].filter(summary => {
  const words = document.createRange(); words.selectNodeContents(summary);
  return words.getClientRects()[0].top > summary.getBoundingClientRect().top + 20;
}).map(summary => summary.textContent)"""


@pytest.mark.parametrize("path", [path for path in PAGES[2:] if not path.startswith("/record")])
def test_nothing_is_torn_apart_on_a_phone(home, page_of, path):
    """A number stays with its unit in a cell, words in one line with the sign of their fold."""
    page = page_of("phone")
    page.goto(home + path)
    assert page.evaluate(BROKEN) == []
    assert page.evaluate(SIGN) == []


def test_twice_as_large_on_the_smallest_phone_nothing_scrolls_sideways(home, page_of):
    page = page_of("phone")
    page.set_viewport_size({"width": 160, "height": 284})  # 320 px at 200 %
    found = []
    for path in [path for path in PAGES if not path.startswith("/record")]:
        page.goto(home + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        found += [(path, width)] if width > 160 else []
    assert found == []


def test_a_hand_over_sheet_is_one_side_of_paper(home, page_of):
    page = page_of("desktop")
    page.goto(home + "/report/K-7")
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) == 1


def test_a_page_that_is_not_there_leads_back(home, page_of):
    page = page_of("phone")
    page.goto(home + "/verdict/999")
    expect(page.get_by_text("There is no verdict 999.")).to_be_visible()
    pages = page.get_by_role("navigation", name="Pages")
    page.get_by_role("main").get_by_role("link", name="Jobs").click()
    expect(pages.get_by_role("link", name="Jobs")).to_have_attribute("aria-current", "page")
    page.get_by_role("link", name="meterlog").click()
    expect(pages.get_by_role("link", name="Jobs")).to_have_attribute("aria-current", "page")


SMALL = """controls => [...document.querySelectorAll(controls)].filter(el => {
  const box = el.getBoundingClientRect();
  return box.width > 0 && (box.height < 43.5 || box.width < 43.5);
}).map(el => el.outerHTML.slice(0, 90))"""


def test_a_page_is_walked_by_keyboard(home, page_of):
    page = page_of("desktop")
    page.goto(home + "/jobs")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the page itself")).to_be_focused()
    page.get_by_label("Appliance, plate or job number").fill("K-8")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="K-8").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="K-8")).to_be_visible()


def test_what_people_wrote_runs_nowhere(home, page_of):
    page = page_of("phone")
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    for path in ("/", "/job/K-8", "/job/K-7"):
        page.goto(home + path)
    expect(page.get_by_text("Line fuse: note: “Hums <loudly> & smells of warm varnish.”", exact=True)).to_be_visible()
    assert asked == []


def test_the_way_from_a_verdict_down_to_the_bytes(home, page_of):
    page = page_of("phone")
    page.goto(home + "/job/K-7")
    unfold(page, "Inside, without power")
    page.get_by_role("link", name="verdict on Transformer primary").click()
    for heading in ("The question", "The limit and its source", "The capture", "The uncertainty", "The arithmetic",
                    "The verdict", "Down to the bytes"):  # fmt: skip
        expect(page.get_by_role("heading", name=heading)).to_be_visible()
    expect(page.get_by_text("55 AB 00 00 00").first).to_be_visible()
    page.get_by_role("link", name="1.71 Ω").click()
    expect(page.get_by_role("img", name="Readings around capture 5: 2.75 s long, at 1.71 Ω.").first).to_be_visible()


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desktop", "light")])
def test_a_verdict_tells_how_its_job_is_judged_again(tmp_path, browse, page_of, size, scheme):
    """The command is shown whole, and typed as it stands it finds that nothing differs."""
    database = records.heated(tmp_path / "a bench.db")
    page = page_of(size, color_scheme=scheme)
    page.goto(browse(database) + "/verdict/1")
    shown = page.get_by_label("Command that lists what differs")
    expect(shown).to_be_hidden()
    page.get_by_text("Judge this job again under other rules").click()
    expect(shown).to_be_visible()
    assert shown.evaluate("e => e.scrollWidth <= e.clientWidth")
    words = shlex.split(shown.inner_text())
    assert words == ["meterlog", "evaluate", "--job", "H-1", "--procedure", "microwave-oven", "--db", str(database)]
    done = CliRunner().invoke(meterlog, words[1:])
    assert (done.exit_code, done.output) == (0, "nothing differs: every verdict of H-1 comes to the same again\n")
    keeps = shlex.split(page.get_by_label("Command that keeps what differs").inner_text())
    assert keeps == [*words, "--reason", "why"]
    assert Axe().run(page, options={"runOnly": RULES}).response["violations"] == []
