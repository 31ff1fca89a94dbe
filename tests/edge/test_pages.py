"""The pages over the application itself: what they show, whom the door lets in, what they escape."""

import asyncio
import csv
import re
from html import unescape
from urllib.parse import quote

import pytest
import records
from edge.asked import HOME, PHONE, TOKEN, ask

from meterlog.base.errors import CannotDo
from meterlog.procedure.draft import draft
from meterlog.web import serve
from meterlog.web.door import Door, host_name, is_ours
from meterlog.web.routes import ROUTES

OVEN = "household microwave oven with a transformer, high-voltage capacitor, diode and magnetron"


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    return records.make(tmp_path_factory.mktemp("pages") / "any name.db")


@pytest.fixture(scope="module")
def application(database):
    return serve.application(database, TOKEN, frozenset({"bench.example"}))


SHOWN = [  # path, words that stand on the page
    ("/", ["K-9", "K-8", "K-7", "6 pass", "2 fail", "1 undecided", "Hums, does not heat."]),
    ("/jobs?words=k-8", ["K-8"]),
    ("/jobs?words=nothing%25", ["No job holds “nothing%”."]),
    ("/job/K-7", ["Invented Community Kitchen", "900 W", "Transformer primary", "1.71 Ω", "over 60 MΩ", "INV-0001"]),
    ("/capture/5", ["1.71 Ω", "settled by itself", "primary tab 1 – primary tab 2", "55 AB 00 00 00", "<svg"]),
    ("/capture/4", ["over 60 MΩ", "nothing to draw", "open; leads proved before and after"]),
    ("/verdict/5", ["Superseded", "the leads were nulled meanwhile"]),
    ("/verdict/6", ["at most 3 ohm", "common practice, no source", "guard band", "accuracy of the meter", "SHA-256"]),
    (
        "/verdict/6",
        ["<span>--job K-7</span> <span>--procedure microwave-oven</span> <span>--db &#39;/", "any name.db&#39;<"],
    ),
    ("/history", ["Transformer primary", "household microwave oven"]),
    (
        "/history/primary?appliance={oven}&job=K-7",
        ["Job K-7 measured 1.71 Ω, among 2: 1.71 Ω to 1.78 Ω.", "No make and model is entered", "K-8", "<svg"],
    ),
    ("/jobs?words=hums+kitchen", ["K-7"]),
    ("/jobs?words=micro+900", ["K-7", "K-8", "K-9"]),
    ("/jobs?words=%22+oven", ["No job holds"]),
    ("/report/K-7", ["Hand-over sheet", "What was not tested"]),
    ("/report/K-7?evidence=1", ["Evidence file", "meterlog-seal 1"]),
    ("/record/open_findings", ["undecided", "K-8"]),
    ("/record/job_captures?job=K-7", ["High-voltage diode, forward"]),
    ("/record/verdicts", ["outcome"]),
]


@pytest.mark.parametrize(("path", "words"), SHOWN, ids=[path for path, _ in SHOWN])
def test_a_page_shows_what_was_kept(application, path, words):
    answer = ask(application, path.replace("{oven}", quote(OVEN)))
    assert answer.status_code == 200
    assert [word for word in words if word not in answer.text] == []


@pytest.mark.parametrize("path", ["/job/K-70", "/capture/0", "/capture/x", "/verdict/99", "/photo/" + "0" * 64])
def test_what_is_not_there_is_said(application, path):
    assert ask(application, path).status_code == 404


def test_what_people_wrote_is_escaped(application):
    for path in ("/", "/job/K-8", "/job/K-7"):
        text = ask(application, path).text
        assert "<script>alert" not in text
        assert "<loudly>" not in text
    assert "Hums &lt;loudly&gt; &amp; smells" in ask(application, "/job/K-7").text


def test_a_capture_comes_as_csv_with_its_units(application):
    rows = list(csv.DictReader(ask(application, "/capture/5.csv").text.splitlines()))
    run = [row for row in rows if row["in_capture"] == "yes"]
    assert [row["shown"] for row in run] == ["1.71", "1.71", "1.72"] * 4
    assert {(row["unit"], row["quantity"], row["bound"]) for row in run} == {("ohm", "resistance", "")}
    assert {row["bound"] for row in rows if row["in_capture"] == "no"} == {"", "overload"}


def test_a_photograph_is_served_as_what_its_bytes_are(application):
    link = ask(application, "/job/K-7").text.split('src="/photo/')[1].split('"')[0]
    answer = ask(application, "/photo/" + link)
    assert answer.headers["content-type"] == "image/png"
    assert answer.content == records.small_png()


def test_own_pages_allow_nothing_inline(application):
    for path in ("/", "/job/K-7", "/capture/5", "/verdict/6"):
        answer = ask(application, path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert " style=" not in answer.text
        assert "<script>" not in answer.text


def test_the_whole_machine_reads_with_one_token(application):
    refused = ask(application, "/job/K-7", client=PHONE, base="http://bench.example")
    assert (refused.status_code, "Invented" in refused.text) == (403, False)
    wrong = ask(application, "/enter?token=another", client=PHONE, base="http://bench.example")
    assert (wrong.status_code, "set-cookie" in wrong.headers) == (403, False)
    right = ask(application, f"/enter?token={TOKEN}", client=PHONE, base="http://bench.example")
    assert (right.status_code, right.headers["location"]) == (303, "/bench")
    assert "HttpOnly" in right.headers["set-cookie"]
    cookie = {"cookie": right.headers["set-cookie"].split(";")[0]}
    assert ask(application, "/job/K-7", client=PHONE, base="http://bench.example", headers=cookie).status_code == 200


def test_without_a_token_nobody_comes_from_the_network(database):
    closed = serve.application(database)
    assert ask(closed, "/", client=PHONE).status_code == 403
    assert ask(closed, "/enter?token=", client=PHONE).status_code == 403


def test_own_questions_are_for_the_owner_on_the_loopback(application):
    sql = "/record?sql=select+1"
    assert ask(application, sql).status_code == 200
    cookie = {"cookie": f"meterlog_phone={TOKEN}"}
    assert ask(application, sql, client=PHONE, base="http://bench.example", headers=cookie).status_code == 403


def test_a_name_that_is_not_ours_is_refused(application):
    assert ask(application, "/", base="http://rebound.example").status_code == 421


def test_own_procedures_are_offered_and_one_that_cannot_be_read_says_so(application, tmp_path, monkeypatch):
    monkeypatch.setenv("METERLOG_PROCEDURES", str(tmp_path))
    (tmp_path / "my-kettle.yaml").write_text(draft("my-kettle"))
    (tmp_path / "broken.yaml").write_text("procedure: broken\n")
    assert "New job: Kettle element" in ask(application, "/bench/open?procedure=my-kettle").text
    told = ask(application, "/bench/open?procedure=broken")
    assert told.status_code == 409
    assert "The procedure broken can&#39;t be read: 5 problems." in told.text
    assert ask(application, "/bench/open?procedure=../my-kettle").status_code == 302


def test_a_job_that_cannot_be_opened_comes_back_as_it_was_typed(application):
    page = ask(application, "/bench/open?procedure=microwave-oven")
    assert "&#34;900 W&#34;, &#34;0.9 kW&#34;" in page.text
    token = page.text.split('name="csrftoken" value="')[1].split('"')[0]
    headers = {"origin": HOME, "cookie": page.headers["set-cookie"].split(";")[0]}
    typed = {"csrftoken": token, "ref": "N-1", "complaint": "hums <b>", "plate rated output": "ninehundred"}
    answer = ask(application, "/bench/open?procedure=microwave-oven", "POST", headers=headers, data=typed)
    assert answer.status_code == 409
    assert 'value="N-1"' in answer.text
    assert "hums &lt;b&gt;" in answer.text
    field = answer.text.split('name="plate rated output"')[1].split("</p>")[0]
    assert 'value="ninehundred" aria-invalid="true"' in field
    assert "rated output:" in field
    away = ask(
        application, "/bench/open?procedure=microwave-oven", "POST", headers=headers,
        data={**typed, "plate rated output": "900"},
    )  # fmt: skip
    assert "The job is not opened yet." in away.text
    assert "meterlog listen" not in away.text
    assert "aria-invalid" not in away.text


def test_a_closed_job_takes_no_photograph(application):
    open_job = ask(application, "/job/K-9")
    token = open_job.text.split('name="csrftoken" value="')[1].split('"')[0]
    headers = {"origin": HOME, "x-csrftoken": token, "cookie": open_job.headers["set-cookie"].split(";")[0]}
    refused = ask(application, "/job/K-7/photo?name=x", "POST", headers=headers, content=records.small_png())
    assert (refused.status_code, refused.json()["error"]) == (409, "Job K-7 is closed: no photograph is added to it.")


def test_a_photograph_that_is_none_is_refused(application):
    assert "Add a photograph" not in ask(application, "/job/K-7").text  # the job is closed
    open_job = ask(application, "/job/K-9")
    token = open_job.text.split('name="csrftoken" value="')[1].split('"')[0]
    headers = {"origin": HOME, "x-csrftoken": token, "cookie": open_job.headers["set-cookie"].split(";")[0]}
    refused = ask(application, "/job/K-9/photo?name=x", "POST", headers=headers, content=b"<svg onload=alert(1)>")
    assert (refused.status_code, refused.json()["error"]) == (415, "A photograph is a JPEG, PNG or WebP picture.")
    large = ask(application, "/job/K-9/photo?name=x", "POST", headers=headers, content=b"\xff\xd8\xff" * 3_000_000)
    assert (large.status_code, large.text) == (413, "That is larger than 8,000 kB: it was not taken.")
    away = ask(application, "/job/K-9/photo?name=x", "POST", headers={**headers, "accept": "application/json"},
               content=records.small_png())  # fmt: skip
    assert (away.status_code, away.json()["error"].splitlines()[0][:16]) == (409, "no daemon writes")


def test_a_change_without_its_token_is_refused(application):
    token = "ds_csrftoken=invented"
    answer = ask(application, "/bench/act", "POST", headers={"origin": HOME, "cookie": token}, data={"word": "next"})
    assert answer.status_code == 403


@pytest.mark.parametrize("origin", [{}, {"origin": "http://elsewhere.example"}, {"origin": "null"}])
def test_a_change_from_another_page_is_refused(application, origin):
    assert ask(application, "/jobs", "POST", headers=origin).status_code == 403


@pytest.mark.parametrize(
    ("host", "name"),
    [("127.0.0.1:8372", "127.0.0.1"), ("LocalHost", "localhost"), ("[::1]:80", "[::1]"), ("", "")],
)
def test_a_host_without_its_port(host, name):
    assert host_name(host) == name


def test_an_origin_is_ours_by_name_and_port():
    assert is_ours("http://127.0.0.1:8372", "127.0.0.1:8372")
    assert not is_ours("http://127.0.0.1:8373", "127.0.0.1:8372")
    assert not is_ours("", "")


def test_a_taken_port_is_said_and_the_usual_one_gives_way():
    first = serve.open_address(0, lan=False)
    number = first.socket.getsockname()[1]
    with pytest.raises(CannotDo, match=f"port {number} can't be had"):
        serve.open_address(number, lan=False)
    first.socket.close()


def test_the_door_passes_what_is_no_request():
    heard = []

    async def inner(scope, receive, send):
        heard.append(scope["type"])

    asyncio.run(Door(inner)({"type": "lifespan"}, None, None))
    assert heard == ["lifespan"]


def links_of(text):
    return [unescape(part.split('"')[0]) for part in text.split('href="')[1:]]


def test_no_link_of_the_history_leads_nowhere(application):
    found = [link for link in links_of(ask(application, "/history").text) if link.startswith("/history/")]
    assert len(found) > 3
    assert [link for link in found if ask(application, link).status_code != 200] == []


@pytest.mark.parametrize("question", ["open_findings", "judged_again", "job_captures?job=K-7", "acts"])
def test_every_row_of_a_question_leads_to_its_job_capture_or_verdict_and_names_checks_by_title(application, question):
    text = ask(application, f"/record/{question}").text
    rows = text.split("<tbody>")[1].split("</tbody>")[0].split("<tr>")[1:]
    assert rows
    pages = ("/job/", "/capture/", "/verdict/")
    kept = [row for row in rows if not any(f'href="{page}' in row for page in pages)]
    assert [row for row in kept if "job" in row] == []  # the bench's own acts belong to none
    assert "primary-to-core" not in text


def test_the_history_of_a_heating_run_compares_its_watts(tmp_path):
    served = serve.application(records.heated(tmp_path / "heated.db"))
    (link,) = [each for each in links_of(ask(served, "/history").text) if each.startswith("/history/")]
    text = ask(served, link).text
    assert " W" in text.split('class="says"')[1].split("</p>")[0]
    assert "°C" not in text.split("<tbody>")[1]


@pytest.mark.parametrize("ref", ["K-7", "2026/7", "2026%2F7"])
def test_a_reference_with_a_slash_leads_to_its_pages(ref):
    def page_of(address):
        return next(page.__name__ for pattern, page in ROUTES if re.match(pattern, address))

    found = [page_of(address) for address in (f"/job/{ref}", f"/job/{ref}/photo", f"/report/{ref}")]
    assert found == ["page", "add_photo", "page"]


def test_a_closed_job_is_taken_up_for_a_reason_and_an_open_one_can_be_laid_aside(application):
    closed, still_open = ask(application, "/job/K-7").text, ask(application, "/job/K-9").text
    assert 'name="reason" autocomplete="off" required' in closed
    assert ("Lay it aside" in closed, "Lay it aside" in still_open) == (False, True)
    assert "Take it up" in still_open
    page = ask(application, "/job/K-7")
    token = page.text.split('name="csrftoken" value="')[1].split('"')[0]
    headers = {"origin": HOME, "cookie": page.headers["set-cookie"].split(";")[0]}
    for act in ("take", "aside"):
        form = {"csrftoken": token, "job": "K-7", "reason": "came back"}
        answer = ask(application, f"/bench/{act}", "POST", headers=headers, data=form)
        assert answer.status_code == 409, "no daemon runs here"
        assert ask(application, f"/bench/{act}").status_code == 302
