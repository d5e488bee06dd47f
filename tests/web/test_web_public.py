"""The page behind the QR code: it says what the plan computed, and says nothing of what came in to anybody else."""

import datetime as dt
import json
import logging
import posixpath
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.export.ics import calendar_file
from companion.guide import tables, trip_tables
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link import code as link
from companion.link.keys import KeyFile, Keys, add_key, load_keys
from companion.reckoning.containers import Store, level_name
from companion.reckoning.plan import Plan, plan
from companion.web import public
from companion.web.pages import ANY
from companion.web.public import SCRIPTS
from tests.cases import BASE, PERSONAL, UNLIKE_FLOWS, a_case
from tests.guides import EXAMPLES, HOMES, example
from tests.tools import key_file
from tests.visit import KEYS, TODAY, XHTML, address, ask, by_id, get, public_app, shown, tree, words

CASE = a_case(UNLIKE_FLOWS)
PLAN = plan(CASE)
ENGLISH = Locale("en", "US")
APP = public_app()

BIGGEST = a_case({kind: BASE[kind] * 4 for kind in ("reservoir", "portable", "cylinder")})
LARGEST_PAGE = 60_000
"""Bytes, scripts and icon included: what a slow connection brings in some seconds."""


# ── what it says ────────────────────────────────────────────────────────────────────────────────


def figures_of(page: ElementTree.Element) -> dict[str, Any]:
    """Return what the script of a page looks up."""
    found: dict[str, Any] = json.loads(by_id(page, "figures").text or "")
    return found


@pytest.mark.parametrize("name", HOMES)
def test_every_figure_that_is_looked_up_is_one_of_the_plan(name: str) -> None:
    case = example(name)
    made = tables.awake(plan(case))
    found = figures_of(tree(get(APP, address(case, "/en")).text))
    for one in made.windows:
        if one.kind == "reservoir" or level_name(one.level) not in found["of"][one.container]["times"]:
            continue
        row = found["of"][one.container]["times"][level_name(one.level)]
        # Activities that share a column have the same figure.
        alike = [group for group in tables.grouped(_store(made, one.container), made.windows) if one.demand in group]
        assert row[ANY if ANY in row else str(alike[0][0].activity)] == one.safe_min, one
    for minutes, told in found["words"].items():
        if minutes != "0":
            assert told == str(Locale("en", case.clinic.region).duration(int(minutes)))


def _store(made: Plan, name: str) -> Store:
    return next(store for store in made.stores if store.id == name)


def test_a_reservoir_is_answered_by_the_use_of_a_whole_day() -> None:
    # A reservoir also fills portables and stands: the time of one activity would promise too much.
    found = figures_of(tree(get(APP, address(CASE, "/en")).text))["of"]["reservoir-1"]["times"]
    assert found == {level_name(level): {ANY: minutes} for level, minutes in PLAN.supply[0].safe_min.items()}


@pytest.mark.parametrize("name", HOMES)
def test_a_trip_from_a_full_portable_is_that_of_the_guide(name: str) -> None:
    case = example(name)
    made = plan(case)
    found = figures_of(tree(get(APP, address(case, "/en")).text))
    for line in made.trips:
        looked_up = found["of"][line.container]["trips"]["full"]
        for trip in line.trips:
            *stays, _ = looked_up[str(trip.way_min)]
            assert stays[-1] == trip.stay_min
            assert stays[0] in (trip.resting_stay_min, trip.stay_min)


@pytest.mark.parametrize("name", HOMES)
def test_the_time_since_it_was_filled_never_lengthens_a_time(name: str) -> None:
    for container in figures_of(tree(get(APP, address(example(name), "/en")).text))["of"].values():
        for step, (_, left) in enumerate(container.get("since", [])):
            for activity, minutes in left.items():
                # In use all the while, at the same activity at least: what is left and what has passed are one fill.
                assert minutes + 15 * step <= container["times"]["full"][activity]


def test_nothing_is_picked_for_the_reader() -> None:
    page = get(APP, address(CASE, "/en")).text
    assert "checked=" not in page
    assert shown(tree(page), "big") == ""


def test_a_phone_calls_each_number_with_one_tap() -> None:
    page = tree(get(APP, address(example("harbour-lane"), "/en")).text)
    calls = [
        (part.get("href"), words(part)) for part in page.iter(f"{XHTML}a") if part.get("href", "").startswith("tel:")
    ]
    assert calls[:4] == [
        ("tel:911", "Ambulance 911"),
        ("tel:5550150", "Supplier 555-0150"),
        ("tel:5550151", "Supplier at other times"),
        ("tel:5550142", "Clinic 555-0142"),
    ]
    assert ("tel:5550150", "555-0150") in calls  # in the table of the first page as well


def test_the_deliveries_come_as_the_clinics_own_file() -> None:
    reply = get(APP, address(CASE, "/en/deliveries.ics"))
    read = link.decode(CODE, KEYS)
    assert reply.headers["content-type"].startswith("text/calendar")
    assert reply.content == calendar_file(read, plan(read), ENGLISH)


@pytest.mark.parametrize("tag", available())
def test_the_manifest_opens_the_page_of_its_language(tag: str) -> None:
    manifest = get(APP, address(CASE, f"/{tag}/app.webmanifest"))
    told = manifest.json()
    where = posixpath.join(address(CASE, f"/{tag}/"), told["start_url"])
    assert tree(get(APP, posixpath.normpath(where)).text).get("lang") == told["lang"] == tag
    icon = posixpath.normpath(posixpath.join(address(CASE, f"/{tag}"), told["icons"][0]["src"]))
    assert get(APP, icon).headers["content-type"] == "image/svg+xml"


@pytest.mark.parametrize("path", ["/", "/t", "/t/", "/T"])
def test_the_printed_address_alone_says_that_the_camera_is_needed(path: str) -> None:
    reply = get(APP, path)
    assert reply.status_code == 200
    assert "Open the camera of your phone" in words(tree(reply.text))
    assert "minute" not in reply.text


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


def test_the_page_holds_the_trips_of_the_guide() -> None:
    page = tree(get(APP, address(CASE, "/en")).text)
    (expected,) = trip_tables.trips(PLAN, ENGLISH)
    table = next(part for part in page.iter(f"{XHTML}table") if str(expected.caption) in words(part))
    rows = [[words(cell) for cell in row] for row in list(table.iter(f"{XHTML}tr"))[1:]]
    assert rows == [[str(text) for text in (row.head, *row.cells)] for row in expected.rows]


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
    script = next(part.get("src", "") for part in guide.iter(f"{XHTML}script") if part.get("src"))
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


@pytest.mark.parametrize(
    ("name", "tag"),
    [
        *(("harbour-lane", tag) for tag in available()),
        *((name, "en") for name in EXAMPLES),
    ],
)
def test_the_page_with_its_script_is_small(name: str, tag: str) -> None:
    page = get(APP, address(example(name), f"/{tag}"))
    files = sum(len(get(APP, f"/t/{file}").content) for file in (*SCRIPTS, "icon.svg"))
    assert len(page.content) + files < LARGEST_PAGE


@pytest.mark.parametrize("tag", available())
def test_even_twelve_containers_travel_small(tag: str) -> None:
    reply = get(APP, address(BIGGEST, f"/{tag}"), {"accept-encoding": "gzip"})
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
    assert page.count("<script src=") == 1


def test_no_form_takes_a_case() -> None:
    page = tree(get(APP, address(CASE, "/en")).text)
    # The script answers; without one, the forms are not shown.
    assert {(form.get("method"), form.get("action")) for form in page.iter(f"{XHTML}form")} == {(None, None)}
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
