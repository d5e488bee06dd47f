"""Faults put in by hand, one at a time, to see that the tests notice: ``python -m tests.mutants [WORD]``.

Each one is a slip that would tell somebody a wrong figure. It is made in a copy of the project, and the tests that
should notice are run there. A fault that no test notices, or that can no longer be made, ends with exit code 1.
"""

import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.tools import ROOT


@dataclass(frozen=True)
class Mutant:
    """One fault."""

    harm: str
    """What a reader would be told."""
    file: str
    before: str
    after: str
    tests: tuple[str, ...]


CHOICES = "companion/reckoning/choices.py"
TEST_CHOICES = ("tests/reckoning/test_choices.py",)
TEST_VALUES = ("tests/guide/test_guide.py::test_of_several_figures_the_guide_says_the_one_that_is_right_for_all",)
TEST_REGION = ("tests/guide/test_guide.py::test_what_the_clinic_sets_stands_in_the_place_of_the_region_s",)
TEST_SHORT = ("tests/guide/test_guide.py::test_the_short_table_says_what_the_guide_says",)
TEST_EXPORT = ("tests/export/test_export.py",)

MUTANTS = (
    Mutant(
        "the back-up lasts as long as in the easiest activity",
        CHOICES,
        "return min(by_activity.values(), default=None)",
        "return max(by_activity.values(), default=None)",
        TEST_CHOICES,
    ),
    Mutant(
        "a low reservoir lasts as long as the better of two",
        CHOICES,
        "return min(at_reading(times, reading) for times in tables)",
        "return max(at_reading(times, reading) for times in tables)",
        TEST_CHOICES,
    ),
    Mutant(
        "the call mark is right for one of two reservoirs only",
        CHOICES,
        "else max(mark for mark in marks_to_call if mark is not None)",
        "else min(mark for mark in marks_to_call if mark is not None)",
        TEST_CHOICES,
    ),
    Mutant(
        "a portable is called full after the other one is empty",
        CHOICES,
        "return min((line.empty_after_hours for line in standing), default=None)",
        "return max((line.empty_after_hours for line in standing), default=None)",
        TEST_CHOICES,
    ),
    Mutant(
        "the cylinder to take first is the one that lasts shortest",
        CHOICES,
        "return max(kinds, key=",
        "return min(kinds, key=",
        TEST_CHOICES,
    ),
    Mutant(
        "the next delivery may come when one reservoir is empty",
        CHOICES,
        "return min(line.days_between for line in supply)",
        "return max(line.days_between for line in supply)",
        TEST_CHOICES,
    ),
    Mutant(
        "a reading between two rows takes the higher one",
        CHOICES,
        "return times[max(not_above)] if not_above else 0",
        "return times[min((mark for mark in times if mark >= reading), default=max(times))]",
        TEST_CHOICES,
    ),
    Mutant(
        "a cylinder's reading holds less than the time beside it",
        CHOICES,
        "mark = math.ceil(level * Fraction(",
        "mark = math.floor(level * Fraction(",
        TEST_CHOICES,
    ),
    Mutant(
        "too few cylinders are advised",
        CHOICES,
        "shortest[window.container] = min(",
        "shortest[window.container] = max(",
        TEST_CHOICES,
    ),
    Mutant(
        "the guide says the highest flow's time for the back-up of the lowest",
        "companion/guide/values.py",
        "backup_min = choices.backup_min(made.backup_min)",
        "backup_min = max(made.backup_min.values(), default=None)",
        TEST_VALUES,
    ),
    Mutant(
        "the sheet for the fridge gives the better reservoir",
        "companion/guide/beside_tables.py",
        'answer("reservoir", choices.shortest_at(times, level), locale)',
        'answer("reservoir", max(choices.at_reading(found, level) for found in times), locale)',
        ("tests/guide/test_sheets.py::test_the_fridge_sheet_of_an_uneven_home_gives_the_weaker_of_each",),
    ),
    Mutant(
        "a least distance is rounded down in feet",
        "companion/guide/naming.py",
        "feet = math.ceil(",
        "feet = math.floor(",
        TEST_REGION,
    ),
    Mutant(
        "a least distance is rounded down in metres",
        "companion/guide/naming.py",
        "half_metres = math.ceil(",
        "half_metres = math.floor(",
        TEST_REGION,
    ),
    Mutant(
        "nobody is warned of a back-up that is short",
        "companion/reckoning/notices.py",
        "backup_min = choices.backup_min(backup)",
        "backup_min = max(backup.values(), default=None)",
        TEST_CHOICES,
    ),
    Mutant(
        "fifteen hours a day count as too few, or fourteen as enough",
        "companion/reckoning/notices.py",
        "if hours_on < 15:",
        "if hours_on < 14:",
        ("tests/reckoning/test_plan.py",),
    ),
    Mutant(
        "a change of the back-up's time is not seen on recall",
        "companion/reckoning/figures.py",
        "for activity, minutes in made.backup_min.items():",
        "for activity, minutes in list(made.backup_min.items())[:0]:",
        ("tests/recheck/test_verdict.py::test_a_back_up_that_lasts_less_long_is_named",),
    ),
    Mutant(
        "the calendar announces the delivery on the day to call",
        "companion/export/ics.py",
        "line.call_by, to_call, (call, gauge)",
        "line.call_by, to_expect, (call, gauge)",
        TEST_EXPORT,
    ),
    Mutant(
        "the calendar rings on the wrong day",
        "companion/export/ics.py",
        "(call, gauge), alarm=True)",
        "(call, gauge), alarm=False)",
        TEST_EXPORT,
    ),
    Mutant(
        "an outing lasts when it does not",
        "companion/guide/outing_words.py",
        "    if not found.lasts:",
        "    if found.lasts:",
        TEST_EXPORT,
    ),
    Mutant(
        "a late delivery is told as one in time",
        "companion/export/text.py",
        '"" if coming.in_time else "WARNING: too late"',
        '"WARNING: too late" if coming.in_time else ""',
        ("tests/reckoning/test_calendar.py",),
    ),
    Mutant(
        "a reservoir that is too small is told as large enough",
        "companion/reckoning/supply.py",
        "covers_delivery=full >= bridge.days",
        "covers_delivery=True",
        ("tests/reckoning/test_calendar.py",),
    ),
    Mutant(
        "the mark for a call leaves out the day on which nobody has yet read the gauge",
        "companion/reckoning/supply.py",
        "days_from[mark] >= wait_days + 1",
        "days_from[mark] >= wait_days",
        ("tests/reckoning/test_supply.py",),
    ),
    Mutant(
        "a reading below the mark is trusted until the round as the mark itself",
        CHOICES,
        "if lower < mark}",
        "if lower <= mark}",
        TEST_CHOICES,
    ),
    Mutant(
        "a date puts off a call that the gauge asks for",
        CHOICES,
        "return min(waits if mark is None else [*waits, *(line.mornings_to(mark) for line in supply)])",
        "return min(waits)",
        TEST_CHOICES,
    ),
    Mutant(
        "a stay that the gauge ends long before",
        "companion/reckoning/trips.py",
        "if home_mark is None:",
        "if home_mark is not None:",
        ("tests/reckoning/test_trips.py",),
    ),
    Mutant(
        "one activity's time of a reservoir is marked as printed",
        "companion/export/json.py",
        "gauge_shows is not None and not alone",
        "gauge_shows is not None",
        TEST_EXPORT,
    ),
    Mutant(
        "the clinician reads a tenth of the pulses' use",
        "companion/guide/deductions.py",
        "{asked.flow_l_min * 1000:.0f} mL/min",
        "{asked.flow_l_min * 100:.0f} mL/min",
        ("tests/guide/test_sheets.py::test_the_clinician_sees_what_each_activity_uses",),
    ),
    Mutant(
        "the clinician reads the use as ordered for the worst",
        "companion/guide/computed.py",
        '("nominal", line.nominal)',
        '("nominal", line.worst)',
        ("tests/guide/test_sheets.py::test_the_clinician_sees_the_daily_use_as_ordered_and_at_the_worst",),
    ),
    Mutant(
        "China's ambulance has another number",
        "companion/facts/region.py",
        '"CN": _region("120", "119"',
        '"CN": _region("121", "119"',
        ("tests/facts/test_region.py",),
    ),
    Mutant(
        "in Japan the police is called to a fire",
        "companion/facts/region.py",
        '"JP": _region("119", "119"',
        '"JP": _region("119", "110"',
        ("tests/facts/test_region.py",),
    ),
    Mutant(
        "a gauge between two marks is read by the higher time",
        "companion/guide/reservoir_table.py",
        'locale.say("The lower time")',
        'locale.say("The higher time")',
        ("tests/guide/test_guide.py::test_the_answer_stands_where_it_is_looked_for",),
    ),
    Mutant(
        "a portable is filled from a low reservoir",
        "companion/guide/reservoir_table.py",
        "if level <= choices.low_mark(plan.supply):",
        "if level < choices.low_mark(plan.supply):",
        ("tests/guide/test_guide.py::test_the_answer_stands_where_it_is_looked_for",),
    ),
    Mutant(
        "nobody is told which cylinder lasts no night",
        "companion/guide/supply_words.py",
        "        if night.lasts:\n            continue\n",
        "        if not night.lasts:\n            continue\n",
        ("tests/guide/test_guide.py::test_nights_and_steady_flow",),
    ),
    Mutant(
        "a low reading waits until the next day though it needs a call at once",
        "companion/guide/conditions.py",
        "(meter.call_below or target.low) < target.low",
        "(meter.call_below or target.low) <= target.low",
        ("tests/guide/test_guide.py::test_a_low_reading_is_told_by_what_is_entered",),
    ),
    Mutant(
        "the number for life and death stands behind the supplier's",
        "companion/guide/phones.py",
        'row(locale.say("Clinic at other times"), clinic.phone_night))\n    return tuple(rows)',
        'row(locale.say("Clinic at other times"), clinic.phone_night))\n    return tuple(reversed(rows))',
        ("tests/guide/test_guide.py::test_whom_to_call_in_which_order",),
    ),
    Mutant(
        "in Britain two metres from a flame are enough",
        "companion/facts/region.py",
        "3.0 if metric else 3.048",
        "2.0 if metric else 3.048",
        ("tests/guide/test_sheets.py::test_the_door_sign_says_what_it_shows",),
    ),
    Mutant(
        "a delivery eats up the safety days",
        "companion/reckoning/deliveries.py",
        "return max(float(case.clinic.policy.safety_days), latest_hour_days(case))",
        "return latest_hour_days(case)",
        ("tests/reckoning/test_calendar.py",),
    ),
    Mutant(
        "the short table in the code has its rows upside down",
        "companion/guide/code.py",
        "(row for row in table.rows if",
        "(row for row in reversed(table.rows) if",
        TEST_SHORT,
    ),
    Mutant(
        "a page of a code may be framed by another",
        "companion/web/public.py",
        "{policy(text)}; frame-ancestors 'none'\"",
        "{policy(text)}\"",
        ("tests/web/test_web_public.py::test_headers",),
    ),
    Mutant(
        "a list with commas is read as other words",
        "companion/case/rows.py",
        'cell.replace(",", " ").split()',
        "cell.split()",
        ("tests/batch/test_entries.py::test_a_cell_with_several_words_is_a_list",),
    ),
    Mutant(
        "an order not to give oxygen is read as an order",
        "companion/case/fhir.py",
        "if not request.doNotPerform and",
        "if",
        ("tests/case/test_fhir.py::test_an_order_not_to_do_something_is_no_order",),
    ),
    Mutant(
        "every code that is printed on paper is dead",
        "companion/link/wire.py",
        '// 8, "little") + body',
        '// 8, "big") + body',
        ("tests/link/test_layouts.py", "tests/link/test_code.py"),
    ),
)  # fmt: skip


def main(words: list[str]) -> int:
    """Make each fault whose file or harm holds one of the words (without words: every one), and say who noticed."""
    missed = 0
    for mutant in MUTANTS:
        if words and not any(word in f"{mutant.file} {mutant.harm}" for word in words):
            continue
        noticed = noticed_by(mutant)
        missed += noticed is None
        print(f"{'MISSED' if noticed is None else 'noticed'}  {mutant.harm}: {noticed or mutant.file}", flush=True)
    return 1 if missed else 0


def noticed_by(mutant: Mutant) -> str | None:
    """Return the first test that fails on a fault, or None where none does or the fault cannot be made."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("companion", "templates", "locales", "examples", "tests", "pyproject.toml"):
            copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
            copy(ROOT / name, Path(folder) / name)
        file = Path(folder) / mutant.file
        text = file.read_text(encoding="utf-8")
        if text.count(mutant.before) != 1:
            return None
        file.write_text(text.replace(mutant.before, mutant.after), encoding="utf-8")
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "--tb=no", *mutant.tests]
        run = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    return next((line for line in run.stdout.splitlines() if line.startswith("FAILED")), None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
