"""The web programs in a real browser.

The clinician's way from an empty form to a PDF, the caregiver's from a scanned code to an answer on a narrow phone, by
keyboard, without scripts, without internet, right to left.
"""

import datetime as dt
import functools
import http.server
import io
import re
import threading
import zipfile
import zoneinfo
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import icalendar
import pdfplumber
import pytest
from playwright.sync_api import Browser, BrowserContext, Dialog, Locator, Page, ViewportSize, expect, sync_playwright

from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link.keys import Keys
from companion.reckoning.plan import plan
from companion.reckoning.since_filled import since_filled
from companion.web.public import application
from companion.web.publish import publish
from tests.cases import a_case, case_dict
from tests.conftest import as_toml
from tests.tools import CHROMIUM_SWITCHES, npm_file, program
from tests.visit import KEYS, TODAY, address, desk_app, public_app, running

PHONE: ViewportSize = {"width": 320, "height": 640}  # WCAG 2.2, 1.4.10
SCREEN: ViewportSize = {"width": 1280, "height": 900}

CASE = a_case({"prescription.exertion.flow": "3 L/min"})
HALF_WALKING_MIN = next(
    one.safe_min
    for one in plan(CASE).windows_of("portable")
    if one.demand.activity == "exertion" and float(one.level) == 0.5
)
HALF_WALKING = str(Locale("en", "US").duration(HALF_WALKING_MIN))
TRIP = next(trip for trip in plan(CASE).trips[0].trips if trip.way_min == 30)
RIGHT_TO_LEFT = next(tag for tag in available() if Locale(tag, "US").direction == "rtl")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as started:
        opened = started.chromium.launch(executable_path=program("chromium"), args=list(CHROMIUM_SWITCHES))
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def public() -> Iterator[str]:
    with running(public_app()) as base:
        yield base


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with running(desk_app(tmp_path_factory.mktemp("clinic"))) as base:
        yield base


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport=PHONE, locale="en-US", timezone_id="America/New_York")
    yield context
    context.close()


def fits(page: Page) -> bool:
    """Tell whether nothing has to be scrolled sideways."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


# ── the caregiver ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "now",
    [
        "2026-11-25T10:00:30-05:00",  # the minute that has begun does not count
        "2026-11-25T23:30:00-05:00",  # past midnight
        "2026-11-01T00:30:00-04:00",  # clocks are set back at 2 in the morning
    ],
)
def test_from_the_code_to_the_answer_in_two_taps(now: str, phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    problems: list[str] = []
    page.on("console", lambda message: problems.append(message.text))
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.clock.install(time=now)
    page.goto(public + address(CASE))
    assert fits(page)
    portable = page.locator("#portable-1")
    portable.get_by_text("one half").click()
    portable.get_by_text("Walking").first.click()
    expect(portable.locator(".lasts .big")).to_have_text(HALF_WALKING)
    # Reckoned here and not by the browser.
    by = dt.datetime.fromisoformat(now).replace(second=0) + dt.timedelta(minutes=HALF_WALKING_MIN)
    spelled = by.astimezone(zoneinfo.ZoneInfo("America/New_York")).strftime("%I:%M %p").lstrip("0")
    told = portable.locator(".lasts .by").inner_text().replace("\u202f", " ")
    assert told.startswith(f"If you start now, be back by {spelled}.")
    assert not problems
    assert all(url.startswith((public, "data:")) for url in requests)


def test_by_keyboard_alone(phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    page.goto(public + address(CASE, "/en"))

    def tab_to(selector: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("selector => document.activeElement.matches(selector)", selector):
                return
        pytest.fail(f"{selector} cannot be reached by keyboard")

    tab_to(".calls a")
    tab_to("#portable-1 [name=level]")
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    tab_to("#portable-1 [name=activity]")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#portable-1 .lasts .big")).to_be_visible()
    tab_to("#portable-1 .alarm")
    tab_to("#portable-1 .now")
    page.keyboard.press("Enter")
    expect(page.locator("#portable-1 .since")).to_be_visible()
    tab_to("#reservoir-1 > summary")
    page.keyboard.press("Enter")
    expect(page.locator("#reservoir-1 form")).to_be_visible()


def test_without_scripts(browser: Browser, public: str) -> None:
    # The tables are all there; what only a script can answer is not.
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(public + address(CASE, "/en"))
    for part in ("#print", "#portable-1", "#share"):
        expect(page.locator(part)).to_be_hidden()
    expect(page.locator("#times")).to_contain_text(HALF_WALKING)
    page.get_by_text("Language").click()
    page.locator(f'a[hreflang="{RIGHT_TO_LEFT}"]').click()
    expect(page.locator("html")).to_have_attribute("dir", "rtl")
    context.close()


def pick(page: Page, **picked: str) -> Locator:
    """Answer the questions about the portable, and return its part of the page."""
    for name, value in picked.items():
        page.locator(f'#portable-1 [name={name}][value="{value}"]').check(force=True)
    return page.locator("#portable-1")


def test_without_internet_after_the_first_visit(browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE, locale="en-US")
    page = context.new_page()
    with running(public_app()) as base:
        page.goto(base + address(CASE, "/en"))
        expect(page.locator("html")).to_have_attribute("data-kept", "yes", timeout=60_000)
    # The server is gone now, and so is the network.
    context.set_offline(True)
    page.goto(base + address(CASE, "/en"))
    expect(pick(page, level="1/2", activity="exertion").locator(".lasts .big")).to_have_text(HALF_WALKING)
    out = pick(page, level="full", activity="out", way="30").locator(".out")
    expect(out.locator(".big").last).to_have_text(str(Locale("en", "US").duration(TRIP.stay_min or 0)))
    page.get_by_role("link", name="The whole guide").click()
    expect(page.locator("h1")).to_have_text("Living with liquid oxygen at home")
    # As the home screen opens it, and in another language.
    page.goto(base + address(CASE, "/en/"))
    page.get_by_text("Language").click()
    page.locator(f'a[hreflang="{RIGHT_TO_LEFT}"]').click()
    expect(page.locator("html")).to_have_attribute("dir", "rtl")
    context.close()


def test_a_code_that_is_no_longer_read_is_not_kept(browser: Browser) -> None:
    keys = [KEYS]
    context = browser.new_context(viewport=PHONE, locale="en-US")
    page = context.new_page()
    with running(application(lambda: keys[0], lambda: TODAY)) as base:
        page.goto(base + address(CASE, "/en"))
        expect(page.locator("html")).to_have_attribute("data-kept", "yes", timeout=60_000)
        keys[0] = Keys((b"n" * 32,))
        page.goto(base + address(CASE, "/en?later"))
        expect(page.locator("h1")).to_have_text("This code cannot be read")
        kept = page.evaluate("async () => (await (await caches.open('kept')).keys()).map(one => one.url)")
        assert [url for url in kept if "/t/A" in url] == []
    context.close()


def test_what_was_filled_and_when_is_taken_off(phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    page.clock.install(time="2026-11-25T10:24:00-05:00")
    page.goto(public + address(CASE, "/en"))
    portable = pick(page, level="full", activity="rest")
    full = portable.locator(".lasts .big").inner_text()
    portable.locator("[name=filled]").fill("09:40")
    expect(portable.locator(".since")).to_contain_text("0:44")
    rows = since_filled(CASE, plan(CASE).liquid_store("portable-1"), plan(CASE).margins)
    left = next(row for row in rows if row.after_min == 45)
    expect(portable.locator(".lasts .big")).to_have_text(str(Locale("en", "US").duration(left.left_min["rest"])))
    assert portable.locator(".lasts .big").inner_text() != full
    # It is kept for the next look, and a time of day that is still to come was yesterday's.
    page.reload()
    expect(page.locator("#portable-1 .since")).to_contain_text("0:44")
    page.locator("#portable-1 [name=filled]").fill("10:30")
    expect(page.locator("#portable-1 .since")).to_contain_text("23:54")
    expect(pick(page, level="full", activity="rest").locator(".lasts .big")).to_have_text("Too low to use")


def test_an_alarm_is_a_file_for_the_calendar(phone: BrowserContext, public: str, tmp_path: Path) -> None:
    page = phone.new_page()
    page.clock.install(time="2026-11-25T10:00:30-05:00")
    page.goto(public + address(CASE, "/en"))
    portable = pick(page, level="full", activity="out", way="30")
    with page.expect_download() as saved:
        portable.locator(".out .alarm").last.click()
    saved.value.save_as(tmp_path / "alarm.ics")
    event: Any
    (event,) = icalendar.Calendar.from_ical((tmp_path / "alarm.ics").read_bytes()).walk("VEVENT")
    home = dt.datetime.fromisoformat("2026-11-25T10:00:00-05:00") + dt.timedelta(minutes=30 + (TRIP.stay_min or 0))
    assert event.decoded("DTSTART") == home
    assert str(event["SUMMARY"]).startswith("Oxygen: start for home by ")
    assert [alarm["TRIGGER"].dt for alarm in event.walk("VALARM")] == [dt.timedelta(minutes=-15), dt.timedelta(0)]


VOICES = """() => {
    const heard = [];
    const speech = { getVoices: () => [{ lang: "en-US", localService: true }], cancel: () => undefined,
                     speak: (one) => heard.push(`${one.lang} ${one.text}`), onvoiceschanged: null };
    Object.defineProperty(window, "speechSynthesis", { value: speech });
    Object.defineProperty(window, "SpeechSynthesisUtterance", { value: function (text) { this.text = text; } });
    window.heard = heard;
}"""


@pytest.mark.parametrize("rest", ["/en", "/en/guide"])
def test_a_section_is_read_aloud_where_the_device_has_a_voice(rest: str, phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    page.goto(public + address(CASE, rest))
    assert page.locator("button.aloud").count() > 1
    for button in page.locator("button.aloud").all():
        expect(button).to_be_hidden()  # this browser has none
    # One voice, in the place of the device's.
    page.add_init_script(f"({VOICES})()")
    page.reload()
    page.get_by_role("button", name="Read aloud: Five rules to breathe well and stay safe").click()
    heard = page.evaluate("window.heard")
    assert heard[0] == "en Five rules to breathe well and stay safe"
    assert any("Keep every container upright" in one for one in heard)
    expect(page.get_by_role("button", name="Stop reading: Five rules to breathe well and stay safe")).to_be_visible()


def test_right_to_left(phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    page.goto(public + address(CASE, f"/{RIGHT_TO_LEFT}"))
    assert fits(page)
    full, next_lower = (page.locator("#portable-1 [name=level]").nth(place).bounding_box() for place in (0, 1))
    assert full is not None
    assert next_lower is not None
    assert full["x"] > next_lower["x"]
    pick(page, level="1/2", activity="exertion")
    # A time of day and a phone number keep their order.
    assert re.search(r"\d{1,2}:\d{2}", page.locator("#portable-1 .lasts .by").inner_text())
    expect(page.locator("table.phones")).to_contain_text("555-0142")


def test_after_the_review_date_by_the_clock_of_the_phone(phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    page.clock.install(time="2027-05-04T12:00:00-04:00")  # the order had to be reviewed by 3 May 2027
    page.goto(public + address(CASE, "/en"))
    expect(page.locator("#out-of-date")).to_be_visible()


def test_large_text_and_wide_spacing_lose_nothing(phone: BrowserContext, public: str) -> None:
    # WCAG 2.2, 1.4.4 and 1.4.12
    page = phone.new_page()
    page.goto(public + address(CASE, "/en"))
    # The policy of the page forbids foreign styles, so these are set through the object model.
    page.evaluate(
        """() => {
            document.documentElement.style.fontSize = "200%";
            for (const one of document.querySelectorAll("body *")) {
                one.style.setProperty("line-height", "1.5", "important");
                one.style.setProperty("letter-spacing", "0.12em", "important");
                one.style.setProperty("word-spacing", "0.16em", "important");
            }
        }"""
    )
    assert fits(page)


def test_targets_are_large_enough_for_a_thumb(phone: BrowserContext, public: str) -> None:
    page = phone.new_page()
    page.goto(public + address(CASE, "/en"))
    for summary in page.locator("summary").all():
        if summary.is_visible():
            summary.click()
            small = page.evaluate(
                """() => [...document.querySelectorAll("a, button, summary, [type=time], fieldset label")]
                    .map(one => [one.textContent, one.getBoundingClientRect()])
                    .filter(([, box]) => box.width && (box.height < 48 || box.width < 48))
                    .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""
            )
            assert not small


def test_published_files_answer_by_script(phone: BrowserContext, tmp_path: Path) -> None:
    list(publish([CASE], tmp_path, "en", KEYS, TODAY))
    handler = functools.partial(_Quiet, directory=str(tmp_path))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever).start()
        page = phone.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}{address(CASE)}")
        page.locator("#portable-1").get_by_text("one half").click()
        page.locator("#portable-1").get_by_text("Walking").first.click()
        expect(page.locator("#portable-1 .lasts .big")).to_have_text(HALF_WALKING)
        page.get_by_role("link", name="The whole guide").click()
        expect(page.locator("h1")).to_have_text("Living with liquid oxygen at home")
        page.close()
        server.shutdown()


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: object) -> None:
        pass


# ── the clinician ───────────────────────────────────────────────────────────────────────────────


def test_from_an_empty_form_to_a_pdf(browser: Browser, clinic: str, tmp_path: Path) -> None:
    context = browser.new_context(viewport=SCREEN)
    page = context.new_page()
    page.goto(clinic)
    unfold(page)
    fill(page, case_dict({"patient.languages": ["en"]}))
    # The table follows what is typed.
    expect(page.locator("#preview")).to_contain_text("it lasts at least", timeout=10_000)
    page.locator("#portable-1-boil-off").fill("26 L")
    page.locator("#portable-1-coupling").focus()
    expect(page.locator("#portable-1-boil-off-wrong")).to_contain_text("'L' is no unit of mass loss")
    page.locator("#portable-1-boil-off").fill("26 g/h")
    expect(page.locator("#portable-1-boil-off-wrong")).to_have_text("")
    # So does the page as it will print.
    expect(page.locator("#paper img").first).to_be_visible(timeout=60_000)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the case to a file").click()
    saved.value.save_as(tmp_path / "case.toml")
    with page.expect_download(timeout=60_000) as made:
        page.get_by_role("button", name="Make the guide and its sheets").click()
    expect(page.locator("#note")).to_contain_text("Done: guide-")
    made.value.save_as(tmp_path / "guide.zip")
    packed = zipfile.ZipFile(tmp_path / "guide.zip")
    with pdfplumber.open(io.BytesIO(packed.read("guide.en.pdf"))) as pdf:
        assert "Rosa Lindqvist" in (pdf.pages[0].extract_text() or "")
    # The saved file opens again, complete.
    page.goto(clinic)
    page.set_input_files("#file", tmp_path / "case.toml")
    page.get_by_role("button", name="Open", exact=True).click()
    expect(page.locator("#patient-name")).to_have_value("Rosa Lindqvist")
    expect(page.locator("#preview")).to_contain_text("it lasts at least")
    context.close()


@pytest.mark.parametrize("fault", ["gone", "refused"])
def test_a_table_that_cannot_be_brought_up_to_date_is_taken_away(fault: str, browser: Browser, clinic: str) -> None:
    context = browser.new_context(viewport=SCREEN)
    page = context.new_page()
    page.goto(clinic)
    unfold(page)
    fill(page, case_dict({"patient.languages": ["en"]}))
    expect(page.locator("#preview")).to_contain_text("it lasts at least", timeout=10_000)
    page.route("**/preview", lambda route: route.abort() if fault == "gone" else route.fulfill(status=503))
    page.locator("#prescription-rest-flow").fill("1 L/min")
    expect(page.locator("#preview")).to_contain_text("cannot be brought up to date", timeout=10_000)
    expect(page.locator("#preview table")).to_have_count(0)
    page.unroute("**/preview")
    page.locator("#prescription-rest-flow").fill("1.5 L/min")
    expect(page.locator("#preview")).to_contain_text("it lasts at least", timeout=10_000)
    context.close()


def test_what_was_typed_comes_back_after_a_reload(browser: Browser, clinic: str) -> None:
    context = browser.new_context(viewport=SCREEN)
    page = context.new_page()
    page.goto(clinic)
    page.locator("#patient-name").fill("Rosa Lindqvist")
    page.locator('[value="check"]').last.click()  # a page that came by a form
    page.locator("#prescription-rest-flow").fill("2 lpm")
    asked: list[str] = []

    def leave(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.accept()

    page.on("dialog", leave)
    page.reload()
    assert asked == ["beforeunload"]  # leaving asks
    expect(page.locator("#patient-name")).to_have_value("Rosa Lindqvist")
    expect(page.locator("#prescription-rest-flow")).to_have_value("2 lpm")
    page.locator("#files > summary").click()
    page.get_by_role("link", name="Next patient").click()
    expect(page.locator("#patient-name")).to_have_value("")
    context.close()


def unfold(page: Page) -> None:
    """Open every folded part of the desk."""
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")


def fill(page: Page, values: dict[str, object], within: str = "") -> None:
    """Type a case into the form, field by field."""
    for name, value in values.items():
        path = f"{within}{name}"
        if isinstance(value, dict):
            fill(page, value, f"{path}.")
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for place, item in enumerate(value, start=1):
                fill(page, item, f"{path}[{place}].")
        elif path == "patient.languages" and isinstance(value, list):
            page.locator(f'[name="{path}"]').first.select_option(value[0])
        elif isinstance(value, list):
            for one in value:
                page.locator(f'[name="{path}"][value="{one}"]').check()
        else:
            field = page.locator(f'[name="{path}"]')
            text = str(value).lower() if isinstance(value, bool) else str(value)
            if path.endswith("gauge.kind"):
                page.locator(f'[name="{path}"][value="{text}"]').check()
            elif field.evaluate("one => one.tagName") == "SELECT":
                field.select_option(text)
            else:
                field.fill(text)


def test_the_desk_without_scripts(browser: Browser, clinic: str, tmp_path: Path) -> None:
    context = browser.new_context(viewport=SCREEN, java_script_enabled=False)
    page = context.new_page()
    page.goto(clinic)
    page.locator('[value="add:portable"]').click()
    expect(page.locator("#portable-2")).to_be_visible()
    page.locator('[value="remove:portable[2]"]').click()
    expect(page.locator("#portable-2")).to_have_count(0)
    (tmp_path / "case.toml").write_text(as_toml(case_dict()), encoding="utf-8")
    page.set_input_files("#file", tmp_path / "case.toml")
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_role("button", name="Check, and show the table").first.click()
    expect(page.locator("#preview")).to_contain_text("it lasts at least")
    context.close()


# ── every page ──────────────────────────────────────────────────────────────────────────────────

PAGES = ("/en", f"/{RIGHT_TO_LEFT}", "/en/guide", "/broken", "/")


def violations(page: Page) -> list[str]:
    """Return what axe finds, target size and the stricter contrast included."""
    # By the object model of the developer's tools, which the policy of the page does not bind.
    page.evaluate(Path(npm_file("axe-core/axe.min.js")).read_text(encoding="utf-8"))
    for summary in page.locator("details:not([name]) > summary").all():
        if summary.is_visible():
            summary.click()
    found: list[str] = page.evaluate(
        """() => axe.run({rules: {"target-size": {enabled: true}, "color-contrast-enhanced": {enabled: true}}})
            .then(result => result.violations)
            .then(found => found.map(one => one.id + ": " + one.nodes.map(node => node.html).join(" | ")))"""
    )
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, SCREEN], ids=["phone", "screen"])
@pytest.mark.parametrize("rest", PAGES)
def test_axe_finds_nothing_on_the_public_pages(
    rest: str, size: ViewportSize, scheme: Literal["light", "dark"], browser: Browser, public: str
) -> None:
    page = browser.new_page(viewport=size, color_scheme=scheme)
    page.goto(public + {"/broken": "/t/BROKEN", "/": "/"}.get(rest, address(CASE, rest)))
    assert violations(page) == []
    assert fits(page)
    if page.locator("#portable-1").count():
        pick(page, level="1/2", activity="exertion")
        assert violations(page) == []
        pick(page, activity="out", way="30")
        assert violations(page) == []
        assert fits(page)
    page.close()


@pytest.mark.parametrize("size", [PHONE, SCREEN], ids=["phone", "screen"])
def test_axe_finds_nothing_on_the_desk(size: ViewportSize, browser: Browser, clinic: str, tmp_path: Path) -> None:
    page = browser.new_page(viewport=size)
    page.goto(clinic)
    assert violations(page) == []
    assert fits(page)
    page.get_by_role("button", name="Check, and show the table").first.click()
    assert violations(page) == []
    (tmp_path / "case.toml").write_text(as_toml(case_dict()), encoding="utf-8")
    page.set_input_files("#file", tmp_path / "case.toml")
    page.get_by_role("button", name="Open", exact=True).click()
    assert violations(page) == []
    page.close()


@pytest.mark.parametrize("scheme", ["active", "none"])
def test_forced_colours_hide_nothing(scheme: str, browser: Browser, public: str) -> None:
    context = browser.new_context(viewport=PHONE, forced_colors=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(public + address(CASE, "/en"))
    pick(page, level="1/2", activity="exertion")
    for part in ("#portable-1 .lasts .big", "#portable-1 .gauge", "#print", "#portable-1 .now", ".calls a"):
        expect(page.locator(part).first).to_be_visible()
    assert page.locator("#portable-1 .answer").evaluate("one => getComputedStyle(one).borderTopStyle") == "solid"
    context.close()


def test_print_shows_the_tables_and_no_controls(browser: Browser, public: str) -> None:
    page = browser.new_page(viewport=SCREEN)
    page.goto(public + address(CASE, "/en"))
    page.emulate_media(media="print")
    expect(page.locator("table").first).to_be_visible()
    for part in ("#portable-1", "#print", ".top"):
        expect(page.locator(part)).to_be_hidden()
    page.close()
