"""The link: a case without anything personal, there and back, and nothing else read as one."""

import base64
import contextlib
import datetime as dt
import hashlib
import hmac
import itertools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.case import Case, read_case
from companion.case.read import accepted_case, case_from_dict
from companion.errors import LinkError
from companion.link import code as link
from companion.link.code import LONGEST_CODE, decode, encode
from companion.link.keys import Keys
from companion.link.layouts import LAYOUTS, NEWEST
from companion.reckoning.plan import plan
from tests.cases import PERSONAL, PULSE, a_case, case_dict, valid_cases
from tests.few import FEW
from tests.tools import EXAMPLE_FILES

KEYS = Keys((b"\x01" * 32,))
OTHER = Keys((b"\x02" * 32,))
CODE = encode(a_case(), KEYS)
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"


def raw_bytes(code: str) -> bytes:
    """Return the bytes of a code."""
    return base64.b32decode(code + "=" * (-len(code) % 8))


def signed(body: bytes) -> str:
    """Return the code that somebody with the clinic's key makes of some bytes."""
    signature = hmac.new(KEYS.signing(), body, hashlib.sha256).digest()[:10]
    return base64.b32encode(body + signature).decode("ascii").rstrip("=")


# ── there and back ──────────────────────────────────────────────────────────────────────────────


@FEW
@given(valid_cases())
def test_the_plan_comes_back_equal(raw: dict[str, Any]) -> None:
    case = case_from_dict(raw, "the test")
    back = decode(encode(case, KEYS), KEYS)
    assert plan(back) == plan(case)
    assert back.clinic.name == case.clinic.name
    assert back.clinic.policy == case.clinic.policy
    assert back.prescription.review_date == case.prescription.review_date


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda path: path.stem)
def test_examples_come_back_equal(path: Path) -> None:
    case = read_case(path)
    code = encode(case, KEYS)
    assert plan(decode(code, KEYS)) == plan(case)
    assert len(code) < 700  # a QR code of at most 57 modules at level M


def test_the_same_case_makes_the_same_code() -> None:
    assert encode(a_case(), KEYS) == CODE


def test_amounts_come_back_as_they_were_typed() -> None:
    case = a_case(PULSE | {"prescription.rest.flow": "2.50 L/min", "reservoir[1].boil_off": "0.4535 kg/day"})
    back = decode(encode(case, KEYS), KEYS)
    assert back.prescription.rest == case.prescription.rest
    assert str(back.reservoir[0].boil_off) == "0.4535 kg/day"
    assert back.conserver == case.conserver


def test_a_code_is_what_a_qr_code_stores_compactly() -> None:
    assert set(CODE) <= set(ALPHABET)


def test_address() -> None:
    found = link.address("https://oxygen.example.org", CODE)
    assert found.startswith("https://oxygen.example.org/t/")
    # A part may name a folder, so it is no longer than file systems take.
    parts = found.removeprefix("https://oxygen.example.org/t/").split("/")
    assert "".join(parts) == CODE
    assert all(0 < len(part) <= 255 for part in parts)


# ── nothing personal ────────────────────────────────────────────────────────────────────────────


def test_no_name_travels() -> None:
    for name in PERSONAL:
        assert name.encode() not in raw_bytes(CODE)
        assert name not in repr(decode(CODE, KEYS))


def test_the_code_is_the_same_whoever_it_is_for() -> None:
    others = a_case(
        {
            "patient.name": "Ines Falk",
            "prescription.prescriber": "Dr Tomas Rey",
            "reservoir[1].name": "Kitchen",
            "portable[1].name": "Red bag",
            "cylinder[1].name": "Cellar",
        }
    )
    assert encode(others, KEYS) == CODE


# ── what is refused ─────────────────────────────────────────────────────────────────────────────


def test_every_changed_character_is_refused() -> None:
    for place, was in enumerate(CODE):
        for other in ALPHABET:
            if other != was:
                with pytest.raises(LinkError):
                    decode(CODE[:place] + other + CODE[place + 1 :], KEYS)


def test_every_cut_is_refused() -> None:
    for length in range(len(CODE)):
        with pytest.raises(LinkError):
            decode(CODE[:length], KEYS)
        with pytest.raises(LinkError):
            decode(CODE[len(CODE) - length :], KEYS)


@pytest.mark.parametrize(
    "code",
    [
        pytest.param("", id="empty"),
        pytest.param(CODE.lower(), id="lower case"),
        pytest.param(CODE + "A", id="one more"),
        pytest.param(f"{CODE}========", id="padded"),
        pytest.param(f" {CODE}", id="space before"),
        pytest.param(f"{CODE}\n", id="line end after"),
        pytest.param(CODE + CODE, id="twice"),
        pytest.param("A" * (LONGEST_CODE + 1), id="too long"),
        pytest.param("A" * 10_000_000, id="far too long"),
        pytest.param(CODE.replace("A", "Ａ"), id="full-width letters"),
        pytest.param(CODE[:-1] + "1", id="a digit that codes never hold"),
        pytest.param("\x00" * 40, id="zeros"),
    ],
)
def test_refuses(code: str) -> None:
    with pytest.raises(LinkError):
        decode(code, KEYS)


def test_another_clinics_key_is_refused() -> None:
    with pytest.raises(LinkError, match="key"):
        decode(CODE, OTHER)


def test_an_old_key_is_read_until_it_is_removed() -> None:
    rotated = Keys((*OTHER.secrets, *KEYS.secrets))
    assert plan(decode(CODE, rotated)) == plan(a_case())
    new = encode(a_case(), rotated)
    assert new != CODE
    assert decode(new, OTHER)  # the first key signs
    with pytest.raises(LinkError, match="no longer in use"):
        decode(CODE, OTHER)


def test_two_keys_of_the_same_number() -> None:
    # The number is one byte: each new key has the number of an old one in 1 of 256 cases.
    by_number: dict[str, bytes] = {}
    for count in itertools.count():
        key = count.to_bytes(32, "big")
        number = encode(a_case(), Keys((key,)))[:4]  # version, key number
        if number in by_number:
            break
        by_number[number] = key
    old = encode(a_case(), Keys((by_number[number],)))
    assert decode(old, Keys((key, by_number[number])))


@pytest.mark.parametrize("version", [0, *range(NEWEST + 1, 256)])
def test_another_version_is_refused_by_name(version: int) -> None:
    with pytest.raises(LinkError, match=f"version {version};"):
        decode(signed(bytes([version]) + raw_bytes(CODE)[1:-10]), KEYS)


def test_a_signed_case_that_no_longer_passes_is_refused() -> None:
    stale = a_case().model_copy(update={"reservoir": []})
    with pytest.raises(LinkError, match="new guide"):
        decode(encode(stale, KEYS), KEYS)


@given(st.one_of(st.text(max_size=LONGEST_CODE + 50), st.text(ALPHABET, max_size=LONGEST_CODE + 50)))
def test_nothing_but_a_link_error_comes_of_noise(noise: str) -> None:
    with pytest.raises(LinkError):
        decode(noise, KEYS)


@given(st.sampled_from(sorted(LAYOUTS)), st.binary(max_size=700))
def test_nothing_but_a_link_error_comes_of_what_the_clinic_signed_itself(version: int, noise: bytes) -> None:
    # Only who has the key can make one; noise that reads as a case of the model's bounds is not to be expected.
    with pytest.raises(LinkError):
        decode(signed(bytes([version, raw_bytes(CODE)[1]]) + noise), KEYS)


@given(st.integers(0, 160), st.binary(min_size=1, max_size=3))
def test_a_spoilt_case_that_is_signed_is_a_case_or_a_link_error(place: int, noise: bytes) -> None:
    body = raw_bytes(CODE)[:-10]
    place = 2 + place % (len(body) - 2)
    with contextlib.suppress(LinkError):
        assert isinstance(decode(signed(body[:place] + noise + body[place + len(noise) :]), KEYS), Case)


@given(st.binary(max_size=700))
def test_nothing_but_a_link_error_comes_of_bytes(noise: bytes) -> None:
    with pytest.raises(LinkError):
        decode(base64.b32encode(raw_bytes(CODE)[:2] + noise).decode().rstrip("="), KEYS)


# ── the longest code ────────────────────────────────────────────────────────────────────────────


def largest_case(letter: str) -> Case:
    """Return a case with as much of everything as the model takes, its words made of one letter."""
    base = case_dict()
    order = {
        "flow": "2.000001 L/min",
        "pulse_setting": "12.5",
        "breaths_per_minute": 60,
        "hours_per_day": "479.999999 min",
        "on_portable": "9.999999 min",
    }
    liquid = {
        "name": letter * 80,
        "liquid_volume": "1.123456 L",
        "working_pressure": "20.123456 psi",
        "empty_mass": "9.123456 kg",
        "boil_off": "0.623456 kg/day",
        "oxygen_mass": "1.223456 kg",
        "coupling": letter * 24,
        "max_flow": "6.123456 L/min",
    }
    return accepted_case(
        base
        | {
            "issued": dt.date(2099, 12, 31),
            "prescription": base["prescription"]
            | {"review_date": dt.date(9999, 12, 31), "interface": "transtracheal catheter"}
            | dict.fromkeys(("rest", "exertion", "sleep"), order),
            "reservoir": [base["reservoir"][0] | liquid] * 4,
            "portable": [base["portable"][0] | liquid | {"conserver": True, "cold_fills_per_day": 12}] * 4,
            "cylinder": [
                base["cylinder"][0]
                | {"full_pressure": "2200.123456 psi", "content": "623.123456 L", "reserve": "200.123456 psi"}
                | {"gauge_division": "100.123456 psi", "max_flow": "15.123456 L/min"}
            ]
            * 4,
            "conserver": {
                "bolus": {"12.5": "22.123456 mL"} | {f"{number}.5": "22.123456 mL" for number in range(20, 31)}
            },
            "clinic": base["clinic"]
            | {
                "name": letter * 80,
                "phone_day": "+" + "1" * 23,
                "phone_night": "+" + "1" * 23,
                "policy": {
                    "flow_tolerance_percent": "10.12",
                    "reading_error_divisions": "0.55",
                    "portable_reserve": "30.123456 min",
                    "cold_fill_loss_percent": "10.12",
                    "warm_fill_loss_percent": "25.12",
                    "flame_distance": "3.123456 m",
                    "heat_distance": "1.523456 m",
                    "emergency_number": "+" + "1" * 23,
                    "fire_number": "+" + "1" * 23,
                    "airing_time": "30.123456 min",
                    "splash_airing_time": "60.123456 min",
                    "frostbite_water": {"low": "99.123456 °F", "high": "102.123456 °F"},
                },
            },
        },
        "the test",
    )


@pytest.mark.parametrize("letter", ["w", "é", "文", "𠮷"])
def test_the_largest_case_is_within_the_bound(letter: str) -> None:
    code = encode(largest_case(letter), KEYS)
    assert len(code) <= LONGEST_CODE
    assert decode(code, KEYS).clinic.name == letter * 80


def test_the_signature_is_that_of_rfc_2104() -> None:
    body, signature = raw_bytes(CODE)[:-10], raw_bytes(CODE)[-10:]
    assert hmac.new(KEYS.signing(), body, hashlib.sha256).digest()[:10] == signature
