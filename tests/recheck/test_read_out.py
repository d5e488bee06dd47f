"""The figures that are read out of words, in each language that has a guide."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.recheck.read_out import count_of, figures_read


@pytest.mark.parametrize(
    ("text", "figures"),
    [
        ("Full 4 hours 10 minutes", ["4 h 10 min"]),
        ("1 hour, 5 minutes", ["1 h", "5 min"]),  # a comma does not join them
        ("4 hours\r\n10 minutes", ["4 h 10 min"]),  # a line of a PDF ends anywhere
        ("3 days and 2 hours", ["3 d", "2 h"]),
        ("2000 psi 20 hours 30 minutes 137 bar", ["2000 psi", "20 h 30 min", "137 bar"]),
        ("At all times 2 L/min 1 hour", ["2 L/min", "1 h"]),
        ("0,5 L/min", ["0.5 L/min"]),
        ("75 mL/min", ["75 mL/min"]),
        ("min/L 2 psi 2000 20 ساعة و30 دقيقة", ["2 L/min", "2000 psi", "20 h 30 min"]),  # as a PDF turns a line
        ("سلنڈر 2 bar 14 یا اس سے کم", ["14 bar"]),  # the second cylinder
        ("还剩 1 小\n时的时候", ["1 h"]),  # a line of Chinese ends inside a word
        ("5 घंटे50 मिनट", ["5 h 50 min"]),
        ("2 horas 50 minutos", ["2 h 50 min"]),
        ("4\u00a0hours\u200f 10\u202fminutes", ["4 h 10 min"]),
        ("Calendar . . . . . . . . 31\ndays of delivery", []),  # a page number, not 31 days
        ("call 911 on page 12 of 61", []),
        ("9" * 5000 + " hours", []),  # no figure of ours has so many digits
        ("9" * 100_000, []),  # and no time is lost on them
        ("1.5" * 50_000 + " psi", ["51.5 psi"]),
        ("", []),
    ],
)
def test_figures(text: str, figures: list[str]) -> None:
    assert figures_read(text) == figures


@pytest.mark.parametrize("tag", available())
@given(st.integers(1, 10 * 1440))
def test_every_time_is_read_as_it_is_spelled(tag: str, minutes: int) -> None:
    hours, rest = divmod(minutes, 60)
    if minutes >= 48 * 60 and not rest:
        # Not one figure: in the text of a table the days of a cell stand before the hours of the next.
        figures = [f"{hours // 24} d", *([f"{hours % 24} h"] if hours % 24 else [])]
    else:
        figures = [" ".join([*([f"{hours} h"] if hours else []), *([f"{rest} min"] if rest else [])])]
    assert figures_read(str(Locale(tag, "US").duration(minutes))) == figures


@pytest.mark.parametrize(
    ("wanted", "figures", "count"),
    [
        (["1 h"], ["1 h", "2 h", "1 h"], 2),
        (["1 h", "2 h"], ["1 h", "1 h", "2 h"], 1),
        (["1 h", "1 h"], ["1 h"] * 5, 2),
        (["3 h"], ["1 h"], 0),
        (["1 h", "2 h"], ["1 h"], 0),
    ],
)
def test_how_often_figures_stand_together(wanted: list[str], figures: list[str], count: int) -> None:
    assert count_of(wanted, figures) == count
