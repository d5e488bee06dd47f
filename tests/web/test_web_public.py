"""The page behind the QR code: it says what the plan computed, and says nothing of what came in to anybody else."""

import datetime as dt
import logging
import posixpath
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.guide import trip_tables
from companion.guide.outing_words import outing_words
from companion.guide.tables import answer
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link import code as link
from companion.link.keys import KeyFile, Keys, add_key, load_keys
from companion.reckoning.containers import LEVELS, LiquidStore, level_name
from companion.reckoning.outing import DOINGS, Stretch, outing
from companion.reckoning.plan import plan
from companion.web import public
from companion.web.public import SCRIPTS
from tests.cases import BASE, PERSONAL, UNLIKE_FLOWS, a_case
from tests.guides import EXAMPLES, HOMES, example
from tests.tools import key_file
from tests.visit import KEYS, TODAY, XHTML, address, ask, assert_valid, by_id, get, public_app, shown, tree, words

CASE = a_case(UNLIKE_FLOWS)
PLAN = plan(CASE)
ENGLISH = Locale("en", "US")
APP = public_app()

BIGGEST = a_case({kind: BASE[kind] * 4 for kind in ("reservoir", "portable", "cylinder")})
LARGEST_PAGE = 60_000
"""Bytes, scripts included: what a slow connection brings in some seconds."""


# ── what it says ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", HOMES)
def test_every_window_of_the_plan_is_the_answer_to_its_question(name: str) -> None:
    case = example(name)
    made = plan(case)
    spelled = Locale("en", case.clinic.region)
    for one in made.windows:
        if one.kind == "reservoir":
            continue
        question = f"?container={one.container}&level={level_name(one.level)}&activity={one.demand.activity}"
        page = tree(get(APP, address(case, f"/en{question}")).text)
        expected = str(answer(one.kind, one.safe_min, spelled))
        assert shown(by_id(page, one.container), "big") == expected, question


def test_a_reservoir_is_answered_by_the_use_of_a_whole_day() -> None:
    # A reservoir also fills portables and stands: the time of one activity would promise too much.
    supply = PLAN.supply[0]
    for level, minutes in supply.safe_min.items():
        page = tree(get(APP, address(CASE, f"/en?container=reservoir-1&level={level_name(level)}&activity=rest")).text)
        assert shown(by_id(page, "reservoir-1"), "big") == str(answer("reservoir", minutes, ENGLISH))


def test_nothing_is_picked_for_the_reader() -> None:
    page = get(APP, address(CASE, "/en")).text
    assert "checked=" not in page
    assert shown(tree(page), "big") is None


def test_a_gauge_in_eighths_and_one_in_fifths_are_asked_by_their_own_marks() -> None:
    case = example("uneven")
    page = tree(get(APP, address(case, "/en")).text)
    marks = {
        container: [
            label.get("value") for label in by_id(page, container).iter(f"{XHTML}input") if label.get("name") == "level"
        ]
        for container in ("portable-1", "portable-2", "reservoir-2")
    }
    assert marks == {
        "portable-1": ["full", "3/4", "1/2", "1/4"],
        "portable-2": ["full", "4/5", "3/5", "2/5", "1/5"],
        "reservoir-2": ["full", "7/8", "3/4", "5/8", "1/2", "3/8", "1/4", "1/8"],
    }
    # Every gauge that stands beside a mark is drawn.
    drawn = {symbol.get("id") for symbol in page.iter("{http://www.w3.org/2000/svg}symbol")}
    used = {str(use.get("href")).removeprefix("#") for use in page.iter("{http://www.w3.org/2000/svg}use")}
    assert used == drawn


@pytest.mark.parametrize(
    "question", ["?container=portable-1&level=full", "?container=portable-1&level=7/8&activity=rest"]
)
def test_half_a_question_gets_no_time(question: str) -> None:
    portable = by_id(tree(get(APP, address(CASE, f"/en{question}")).text), "portable-1")
    assert shown(portable, "big") is None
    assert shown(portable, "open") == "Pick one answer to each question."


def test_the_table_holds_every_figure_for_the_script_to_find() -> None:
    page = tree(get(APP, address(CASE, "/en")).text)
    table = next(part for part in page.iter(f"{XHTML}table") if part.get("data-container") == "portable-1")
    for row in table.iter(f"{XHTML}tr"):
        for cell in row.iter(f"{XHTML}td"):
            level = next(level for level in LEVELS if level_name(level) == row.get("data-level"))
            for activity in cell.get("data-activities", "rest").split():
                window = PLAN.window("portable-1", level, activity)  # type: ignore[arg-type]
                assert cell.get("data-minutes") == str(window.safe_min)


@pytest.mark.parametrize(
    ("stretches", "level"),
    [
        ([("walk", 40), ("sit", 120), ("travel", 30)], "full"),  # a walk, a visit and a ride home
        ([("walk", 40)], "1/4"),
        ([("walk", 1440)], "full"),
        ([("sleep", 1)] * 6, "1/2"),
    ],
)
def test_an_outing_is_answered_by_the_plan(stretches: list[tuple[str, int]], level: str) -> None:
    asked = "".join(f"&activity{n}={word}&minutes{n}={m}" for n, (word, m) in enumerate(stretches, start=1))
    page = tree(get(APP, address(CASE, f"/en?outing=1&container=portable-1&level={level}{asked}")).text)
    portable = next(store for store in PLAN.stores if isinstance(store, LiquidStore) and store.kind == "portable")
    found = outing(
        CASE,
        portable,
        next(one for one in LEVELS if level_name(one) == level),
        [Stretch(DOINGS[word], minutes) for word, minutes in stretches],
        PLAN.margins,
    )
    shown_words = words(by_id(page, "outing"))
    for line in outing_words(found, ENGLISH):
        assert str(line) in shown_words
    assert ("The portable lasts for this outing." in shown_words) == found.enough


def test_the_page_holds_the_trips_of_the_guide() -> None:
    page = tree(get(APP, address(CASE, "/en")).text)
    (expected,) = trip_tables.trips(PLAN, ENGLISH)
    table = next(part for part in page.iter(f"{XHTML}table") if str(expected.caption) in words(part))
    rows = [[words(cell) for cell in row] for row in list(table.iter(f"{XHTML}tr"))[1:]]
    assert rows == [[str(text) for text in (row.head, *row.cells)] for row in expected.rows]


@pytest.mark.parametrize(
    ("question", "fault"),
    [
        ("level=full", "Fill in at least one part."),
        ("level=full&activity1=walk&minutes1=soon", "Write the minutes as a whole number from 1 to 1440."),
        ("level=full&activity1=walk&minutes1=0", "Write the minutes as a whole number from 1 to 1440."),
        ("level=full&activity1=walk&minutes1=1441", "Write the minutes as a whole number from 1 to 1440."),
        ("level=full&activity1=swim&minutes1=10", "Pick what you will do."),
        ("activity1=walk&minutes1=10", "Pick what the gauge shows."),
    ],
)
def test_an_outing_that_cannot_be_read_is_not_reckoned(question: str, fault: str) -> None:
    page = tree(get(APP, address(CASE, f"/en?outing=1&container=portable-1&{question}")).text)
    assert shown(by_id(page, "outing"), "fault") == fault
    assert shown(by_id(page, "outing"), "big") is None


def test_an_outing_without_an_order_for_it_is_not_offered() -> None:
    case = a_case({"prescription.exertion": None, "prescription.rest.hours_per_day": "16 h"})
    page = tree(get(APP, address(case, "/en?outing=1&container=portable-1&level=full&activity1=walk&minutes1=9")).text)
    assert shown(by_id(page, "outing"), "fault") == "Pick what you will do."
    assert "Walking" not in words(page)


@pytest.mark.parametrize(
    ("today", "told"),
    [
        (CASE.prescription.review_date, False),
        (CASE.prescription.review_date + dt.timedelta(days=1), True),
    ],
)
def test_after_the_review_date_it_asks_for_a_new_one(today: dt.date, told: bool) -> None:
    page = tree(get(public_app(today=today), address(CASE, "/en")).text)
    assert (by_id(page, "out-of-date").get("hidden") is None) == told
    assert "November 2, 2026" in words(page)  # the day of issue


@pytest.mark.parametrize("tag", available())
def test_every_language_has_its_page_and_its_guide(tag: str) -> None:
    for rest in (f"/{tag}", f"/{tag}/guide"):
        page = get(APP, address(CASE, rest)).text
        direction = "rtl" if tag in ("ar", "fa", "he", "ur") else "ltr"
        assert tree(page).get("lang") == tag
        assert tree(page).get("dir") == direction
    picker = {part.get("hreflang") for part in tree(get(APP, address(CASE)).text).iter(f"{XHTML}a")} - {None}
    assert picker == set(available())


@pytest.mark.parametrize(
    ("header", "tag"),
    [
        ("", "en"),
        ("es", "es"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("en;q=0.8, ar;q=0.9", "ar"),
        ("tlh, fr;q=0.1", "fr"),
        ("zh-CN", "zh-Hans"),
        ("tlh", "en"),
        ("*;q=x,,;", "en"),
    ],
)
def test_the_bare_address_speaks_the_language_of_the_phone(header: str, tag: str) -> None:
    assert tree(get(APP, address(CASE), {"accept-language": header}).text).get("lang") == tag


@pytest.mark.parametrize("rest", ["/en", "/en/guide", "/es/guide"])
def test_an_expired_code_says_so_on_each_of_its_pages(rest: str) -> None:
    review = CASE.prescription.review_date
    for today, said in ((review, False), (review + dt.timedelta(days=1), True)):
        page = tree(get(public_app(today=today), address(CASE, rest)).text)
        notice = by_id(page, "out-of-date")
        assert (notice.get("hidden") is None) == said
        assert CASE.clinic.phone_day in words(notice)


def test_the_clock_of_a_phone_finds_a_kept_guide_out_of_date() -> None:
    guide = tree(get(APP, address(CASE, "/en/guide")).text)
    script = next(part.get("src", "") for part in guide.iter(f"{XHTML}script"))
    where = posixpath.normpath(posixpath.join(posixpath.dirname(address(CASE, "/en/guide")), script))
    assert where == "/t/guide.js"
    assert get(APP, where).status_code == 200
    assert by_id(guide, "out-of-date").get("data-review") == CASE.prescription.review_date.isoformat()


def test_the_guide_holds_no_name() -> None:
    guide = get(APP, address(CASE, "/en/guide")).text
    assert guide.count("<section") > 10
    for name in PERSONAL:
        assert name not in guide


@pytest.mark.parametrize("start", ["/t/", "/T/"])
@pytest.mark.parametrize("end", ["", "/", "/en", "/en/", "/guide", "/en/guide", "/en/guide/"])
def test_both_spellings_of_every_address(start: str, end: str) -> None:
    # Some readers of QR codes turn a whole address into capitals; some hosts add a slash.
    assert get(APP, address(CASE, end).replace("/t/", start)).status_code == 200


# ── codes that are not ours ─────────────────────────────────────────────────────────────────────

CODE = link.encode(CASE, KEYS)


@pytest.mark.parametrize(
    "code",
    [
        pytest.param("ABC", id="too short"),
        pytest.param(CODE[:-3], id="cut"),
        pytest.param(CODE[:40] + ("A" if CODE[40] != "A" else "B") + CODE[41:], id="changed"),
        pytest.param(CODE.lower(), id="lower case"),
        pytest.param("A" * 3000, id="oversized"),
        pytest.param("%E2%80%AE%00", id="controls"),
        pytest.param(link.encode(CASE, Keys((b"z" * 32,))), id="another clinic's key"),
    ],
)
@pytest.mark.parametrize("end", ["", "/es", "/en/guide"])
def test_a_code_that_is_not_ours_gets_whom_to_call_and_no_time(code: str, end: str) -> None:
    reply = get(APP, f"/t/{code}{end}")
    assert reply.status_code == 404
    assert "<table" not in reply.text
    assert "minute" not in reply.text
    if end != "/es":
        assert "Call your clinic or your oxygen supplier" in reply.text


def test_a_running_server_sees_the_key_file_change(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = key_file(tmp_path / "link.keys")
    app = public.application(KeyFile(path).keys, lambda: TODAY)
    old = load_keys(path)
    assert get(app, address(CASE, keys=old)).status_code == 200
    both = add_key(path)
    for keys in (both, old):
        assert get(app, address(CASE, keys=keys)).status_code == 200
        assert get(app, address(CASE, "/en/guide", keys)).status_code == 200
    key_file(path, both.signing().hex())  # the old key is taken out: stolen, say
    assert get(app, address(CASE, keys=both)).status_code == 200
    for rest in ("", "/en/guide"):
        assert get(app, address(CASE, rest, old)).status_code == 404
    key_file(path, "")
    caplog.clear()
    reply = get(app, address(CASE, keys=both))
    assert (reply.status_code, reply.headers["cache-control"], "<table" in reply.text) == (503, "no-store", False)
    assert "holds no key" in caplog.text
    key_file(path, both.signing().hex())
    assert get(app, address(CASE, keys=both)).status_code == 200


def test_an_old_key_is_read_until_it_is_taken_out() -> None:
    new = b"n" * 32
    assert get(public_app(Keys((new, *KEYS.secrets))), address(CASE)).status_code == 200
    assert get(public_app(Keys((new,))), address(CASE)).status_code == 404


# ── limits and headers ──────────────────────────────────────────────────────────────────────────


QUESTION = "?outing=1&container=portable-1&level=full&activity1=walk&minutes1=40"


@pytest.mark.parametrize(
    ("name", "tag"),
    [
        *(("harbour-lane", tag) for tag in available()),
        *((name, "en") for name in EXAMPLES),
    ],
)
def test_the_page_with_its_script_is_small(name: str, tag: str) -> None:
    page = get(APP, address(example(name), f"/{tag}{QUESTION}"))
    assert len(page.content) + sum(len(get(APP, f"/t/{script}").content) for script in SCRIPTS) < LARGEST_PAGE


@pytest.mark.parametrize("tag", available())
def test_even_twelve_containers_travel_small(tag: str) -> None:
    reply = get(APP, address(BIGGEST, f"/{tag}{QUESTION}"), {"accept-encoding": "gzip"})
    assert reply.headers["content-encoding"] == "gzip"
    assert int(reply.headers["content-length"]) < LARGEST_PAGE / 4


@pytest.mark.parametrize("path", ["/", "/t/", address(CASE), address(CASE, "/en/guide"), "/t/table.js", "/t/ABC", "/x"])
def test_headers(path: str) -> None:
    headers = get(APP, path).headers
    assert "set-cookie" not in headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    rules = headers["content-security-policy"]
    assert "default-src 'none'" in rules
    assert "frame-ancestors 'none'" in rules
    assert "unsafe" not in rules


def test_nothing_from_outside() -> None:
    page = get(APP, address(CASE, "/en")).text
    for part in tree(page).iter():
        for name in ("src", "href", "action"):
            target = part.get(name) or ""
            assert "//" not in target
    # What is fetched: the script, by a relative address.
    assert page.count("<script") == 1


def test_no_form_takes_a_case() -> None:
    page = tree(get(APP, address(CASE, "/en")).text)
    assert {form.get("method") for form in page.iter(f"{XHTML}form")} == {"get"}
    for path in ("/", "/preview", "/open", address(CASE)):
        assert ask(APP, "POST", path, content=b"do=make").status_code in (404, 405)


@pytest.mark.parametrize(
    ("method", "path", "content", "status"),
    [
        ("GET", "/t/" + "A" * 5000, b"", 414),
        ("GET", f"/t/{CODE}?" + "x" * 5000, b"", 414),
        ("DELETE", f"/t/{CODE}", b"", 405),
    ],
)
def test_limits(method: str, path: str, content: bytes, status: int) -> None:
    assert ask(APP, method, path, content=content).status_code == status


# ── whatever comes in ───────────────────────────────────────────────────────────────────────────

ODD = st.text(max_size=40) | st.sampled_from(
    ["<script>alert(1)</script>", "{{ 7*7 }}", "{% raw %}", "#import", "\u202e", "\x00", "../../etc", "%", "𝟗"]
)
NAMES = st.sampled_from(["container", "level", "activity", "outing", "activity1", "minutes1", "minutes6", "lang"])
VALUES = ODD | st.sampled_from(["portable-1", "cylinder-1", "reservoir-1", "full", "1/2", "rest", "walk", "30"])


@given(
    code=st.sampled_from([CODE, CODE[:-1], "A" * 260]) | ODD,
    end=st.sampled_from(["", "/en", "/ar/guide", "/guide/guide", "//"]) | ODD,
    query=st.dictionaries(NAMES | ODD, VALUES, max_size=12),
    languages=st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60),
)
def test_no_request_breaks_it_or_is_logged(code: str, end: str, query: dict[str, str], languages: str) -> None:
    lines: list[str] = []
    catcher = logging.Handler()
    catcher.emit = lambda record: lines.append(record.getMessage())  # type: ignore[method-assign]
    logging.getLogger().addHandler(catcher)
    try:
        path = "/t/" + "".join(f"%{byte:02X}" for byte in f"{code}{end}".encode())
        reply = ask(APP, "GET", path, params=query, headers={"accept-language": languages})
    finally:
        logging.getLogger().removeHandler(catcher)
    assert reply.status_code in (200, 404, 414)
    assert "<script>alert" not in reply.text
    assert not [line for line in lines if not line.startswith("HTTP Request: ")]  # the client's own line


@given(minutes=st.lists(st.tuples(st.sampled_from(["walk", "sit", "sleep"]), st.integers(1, 1440)), max_size=6))
def test_every_outing_has_an_answer(minutes: list[tuple[str, int]]) -> None:
    asked = "".join(f"&activity{n}={word}&minutes{n}={m}" for n, (word, m) in enumerate(minutes, start=1))
    reply = get(APP, address(CASE, f"/en?outing=1&container=portable-1&level=full{asked}"))
    assert reply.status_code == 200
    assert (shown(by_id(tree(reply.text), "outing"), "big") is not None) == bool(minutes)


def test_valid_html(tmp_path: Path) -> None:
    paths = [f"/en{QUESTION}&minutes2=x", "/ar", "/en?container=portable-1&level=full&activity=rest"]
    pages = [get(APP, address(CASE, path)).text for path in paths]
    assert_valid(tmp_path, *pages, get(APP, "/t/BROKEN").text)
