"""The picture of a heating run in a browser: every word apart, inside and large enough, in both schemes, told aloud."""

import pytest
import records
from axe_playwright_python.sync_playwright import Axe
from browser.hands import unfold
from click.testing import CliRunner
from heating_simulator import Bench, csv_text

from meterlog.cli.heating import heating

WRONG_WORDS = """svg => {
  const frame = svg.getBoundingClientRect(), scale = frame.width / svg.viewBox.baseVal.width;
  const texts = [...svg.querySelectorAll("text")].map(t => ({words: t.textContent, box: t.getBoundingClientRect(),
    size: parseFloat(getComputedStyle(t).fontSize) * scale}));
  const wrong = texts.filter(t => t.size < 10).map(t => ["small", t.words, t.size]);
  for (const t of texts) if (t.box.left < frame.left - .5 || t.box.right > frame.right + .5
    || t.box.top < frame.top - .5 || t.box.bottom > frame.bottom + .5) wrong.push(["outside", t.words]);
  texts.forEach((a, n) => texts.slice(0, n).forEach(b => {
    const apart = a.box.right <= b.box.left || b.box.right <= a.box.left || a.box.bottom <= b.box.top + 2
      || b.box.bottom <= a.box.top + 2;
    if (!apart) wrong.push(["over", a.words, b.words]);
  }));
  return wrong;
}"""
PAGES = ["/job/H-1", "/verdict/1", "/capture/1", "/report/H-1", "/report/H-1?evidence=1"]
SEEN = ["before", "heating", "after", "temperature", "fitted line", "carried to start and stop"]


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    return records.heated(tmp_path_factory.mktemp("heated") / "heated.db")


def pictures(page):
    return [svg for svg in page.locator("svg.plot").all() if svg.is_visible()]


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desktop", "light")])
def test_a_heating_run_is_legible_wherever_it_is_shown(database, browse, page_of, size, scheme):
    home, page = browse(database), page_of(size, color_scheme=scheme)
    for path in PAGES:
        page.goto(home + path)
        if path.startswith("/job/"):
            unfold(page, "Under power")
        found = pictures(page)
        assert len(found) == 1, path
        assert found[0].evaluate(WRONG_WORDS) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"], path
        answer = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}).response
        assert [(wrong["id"], wrong["nodes"][0]["html"]) for wrong in answer["violations"]] == [], path


def test_the_job_page_draws_the_periods_and_lists_them_beneath(database, browse, page_of):
    page = page_of("phone")
    page.goto(browse(database) + "/job/H-1")
    unfold(page, "Under power")
    picture = page.get_by_role("img", name="Useful power 88")
    assert [word for word in SEEN if word not in picture.locator("text").all_text_contents()] == []
    table = page.get_by_role("region", name="Periods of the heating run")
    assert table.get_by_role("rowheader").all_text_contents() == ["before", "heating", "after"]
    assert table.bounding_box()["y"] > picture.bounding_box()["y"] + picture.bounding_box()["height"]
    corrections = page.get_by_role("region", name="Corrections of the heating run")
    assert corrections.get_by_role("rowheader").all_text_contents() == ["warm-up", "vessel", "exchange with the room"]


RUNS = [  # a run, options: a ramp, one with the probe out, a short one, a refused one, a long one
    (Bench(vessel=230), ()),
    (Bench(power=800, first=12, out=(50, 195)), ("--start", "60", "--stop", "180")),
    (Bench(start=300, stop=330, end=700), ("--start", "300", "--stop", "330")),
    (Bench(out=(50, 185), end=192), ("--start", "60", "--stop", "180")),
    (Bench(power=2500, mass=8, vessel=250, loss=8, start=120, stop=900, end=1300, interval=2), ()),
]


@pytest.mark.parametrize(("bench", "options"), RUNS)
def test_a_file_of_its_own_is_legible_on_a_phone(tmp_path, page_of, bench, options):
    trace, drawn = tmp_path / "run.csv", tmp_path / "run.svg"
    trace.write_text(csv_text(bench))
    CliRunner().invoke(heating, ["--trace", str(trace), "--mass", f"{bench.mass:g} kg", "--plot", str(drawn), *options])
    grounds, lines = set(), set()
    for scheme in ("light", "dark"):
        page = page_of("phone", color_scheme=scheme)
        page.set_content(f'<body style="margin:0">{drawn.read_text()}</body>')
        svg = page.locator("svg")
        assert svg.bounding_box()["width"] == 360
        assert svg.evaluate(WRONG_WORDS) == []
        grounds.add(page.locator(".plot-ground").evaluate("e => getComputedStyle(e).fill"))
        lines.add(page.locator(".plot-line").first.evaluate("e => getComputedStyle(e).stroke"))
    assert len(grounds) == len(lines) == 2
