"""One input cannot stop the service: what no case could hold is refused before any work is done on it."""

import json
import time
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from companion.case.bundle import LARGEST_BUNDLE
from companion.case.fhir import FIELDS, KINDS, read_bundle
from companion.case.read import case_from_dict, read_case
from companion.case.rows import read_rows
from companion.case.toml_file import LARGEST_FILE, MOST_VALUES, toml_values
from companion.errors import CaseError
from companion.facts.units import LONGEST_AMOUNT, parse_amount
from tests.case.test_fhir import BUNDLE
from tests.cases import case_dict

LARGE = LARGEST_FILE - 100


@contextmanager
def cheaply(*, seconds: float = 12, megabytes: float = 60) -> Iterator[None]:
    """Hold a piece of work to a time and an amount of memory; counting the memory takes most of the time."""
    tracemalloc.start()
    start = time.process_time()
    try:
        yield
        assert time.process_time() - start < seconds
        assert tracemalloc.get_traced_memory()[1] < megabytes * 1e6
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "text",
    [
        "2 " + "L" * 250_000,
        "26 g/h" + " " * 100_000 + "x",
        "9" * 250_000,
        "2 L/min" + " " * (LONGEST_AMOUNT - 6),
        " " * 250_000 + "2 L/min",
    ],
    ids=["unit", "spaces before a letter", "digits", "one character too many", "spaces first"],
)
def test_an_amount_is_bounded_before_it_is_read(text: str) -> None:
    with cheaply(seconds=2), pytest.raises(ValueError, match="at most 40 characters") as caught:
        parse_amount(text, "flow")
    assert len(str(caught.value)) < 100


def test_the_longest_amount_is_read() -> None:
    assert str(parse_amount("2 L/min" + " " * (LONGEST_AMOUNT - 7), "flow")) == "2 L/min"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b".".join([b"a"] * (LARGE // 2)) + b" = 1", "a name of more than 20 parts"),
        (b"a = { " + b".".join([b"a"] * (LARGE // 2)) + b" = 1 }", "a name of more than 20 parts"),
        (b"[" + b" . ".join([b"a"] * 21) + b"]", "a name of more than 20 parts"),
        (b'"a.\\"b".' * 20 + b"'c' = 1", "a name of more than 20 parts"),
        (b"[[portable]]\n" * (LARGE // 13), "more than 1000 values"),
        (b"patient = [" + b"1," * 40_000 + b"]", "more than 1000 values"),  # counting the memory takes 60 µs for each
        (b"".join(b"k%d = 1\n" % number for number in range(20_000)), "more than 1000 values"),
        (b"[conserver.bolus]\n" + b"".join(b"%d = 1\n" % number for number in range(15_000)), "more than 1000 values"),
        (b"a" * LARGE + b" = 1", "there is no such field here"),
        (b'"' * LARGE, "text that is no TOML"),
        (b"a = '" + b"\\" * LARGE, "text that is no TOML"),
        (b'a = "' + b'\\"' * (LARGE // 2), "text that is no TOML"),
    ],
    ids=lambda value: value if isinstance(value, str) else value[:12].decode(),
)
def test_a_file_is_bounded_before_it_is_parsed(data: bytes, told: str, tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(data)
    with cheaply(), pytest.raises(CaseError) as caught:
        read_case(path)
    assert told in str(caught.value)
    assert len(str(caught.value)) < 10_000


@pytest.mark.parametrize("text", [".".join(["a"] * 20) + " = 1", 'a = "1.2.3.4.5 and so on. And. So. On."'])
def test_what_is_no_longer_than_that_is_parsed(text: str) -> None:
    assert toml_values(text.encode(), "a file")


def test_the_fullest_case_is_far_within_the_bound() -> None:
    raw = case_dict()
    full = {**raw, **{kind: raw[kind] * 4 for kind in ("reservoir", "portable", "cylinder")}}
    full["clinic"]["delivery"]["closed"] = ["2026-12-24"] * 60
    leaves = json.dumps(full, default=str).count(":") + 60
    assert leaves < MOST_VALUES / 2


def test_values_are_bounded_wherever_they_come_from() -> None:
    with cheaply(), pytest.raises(CaseError, match="too long for a case"):
        case_from_dict({**case_dict(), "portable": [{}] * 20_000}, "rows")


def test_a_line_without_an_end_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "cases.jsonl"
    with path.open("wb") as file:
        file.write(b'{"id": "a"}\n{"id": "')
        file.truncate(200_000_000)  # zeros, without room on the disk
        file.seek(0, 2)
        file.write(b'"}\n{"id": "c"}\n')
    with cheaply():
        first, second, third = read_rows(path)
    assert (first.raw, third.raw) == ({"id": "a"}, {"id": "c"})
    assert "too long for a case" in second.faults[0].problem


# ── FHIR ────────────────────────────────────────────────────────────────────────────────────────

Written = Callable[[str], Path]


@pytest.fixture
def written(tmp_path: Path) -> Written:
    def write(text: str) -> Path:
        path = tmp_path / "bundle.json"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.mark.parametrize(
    "number",
    ["1e99999999", "1e-999999999", "1e99999999999999999999", "1E+100", "9" * 5000, "1." + "0" * 5000],
)
def test_a_number_is_bounded_before_it_is_made(number: str, written: Written) -> None:
    path = written(json.dumps(BUNDLE).replace('"value": 1.5', f'"value": {number}', 1))
    with cheaply(), pytest.raises(CaseError, match="too long for any amount"):
        read_bundle(path)


def devices(*kinds: str, codes: tuple[tuple[str, float], ...] = ()) -> str:
    """Return a bundle of one device with some types and properties."""
    parts: list[Any] = [
        {
            "type": {"coding": [{"system": FIELDS, "code": code}]},
            "valueQuantity": [{"value": value, "system": "http://unitsofmeasure.org", "code": "1"}],
        }
        for code, value in codes
    ]
    device = {
        "resourceType": "Device",
        "type": {"coding": [{"system": KINDS, "code": kind} for kind in kinds]},
        **({"property": parts} if parts else {}),
    }
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": [{"resource": device}]})


@pytest.mark.parametrize("kind", ["patient", "clinic", "robot", "x" * 5000])
def test_a_device_of_another_kind_is_told(kind: str, written: Written) -> None:
    raw, faults = read_bundle(written(devices(kind)))
    assert raw == {}
    assert faults[0].problem == "no kind of equipment that is read here"
    assert len(faults[0].read) < 100


@pytest.mark.parametrize(
    "codes",
    [(("gauge", 4), ("gauge.kind.x", 4)), (("gauge.kind.x", 4), ("gauge", 4)), ((".".join(["a"] * 5000), 4),)],
    ids=["the whole first", "the part first", "endless"],
)
def test_a_property_within_another_is_told(codes: tuple[tuple[str, float], ...], written: Written) -> None:
    _, faults = read_bundle(written(devices("portable", codes=codes)))
    assert any(fault.where.startswith("portable[1]") for fault in faults)
    assert len(max((fault.where for fault in faults), key=len)) < 200


def test_a_bundle_is_not_read_beyond_its_bound(tmp_path: Path) -> None:
    path = tmp_path / "bundle.json"
    with path.open("wb") as file:
        file.truncate(8_000_000_000)
    with cheaply(megabytes=3 * LARGEST_BUNDLE / 1e6), pytest.raises(CaseError, match="too large"):
        read_bundle(path)
