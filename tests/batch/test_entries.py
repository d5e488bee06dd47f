"""Which cases there are: files, rows and lines, and what a bad one costs the others."""

import datetime as dt
import os
from pathlib import Path
from typing import Any

import pytest

from companion.batch.entries import entries
from companion.case.read import case_from_dict
from companion.case.rows import read_rows
from companion.case.toml_file import LARGEST_FILE
from companion.errors import CaseError, CompanionError
from tests.batch.loads import flat, write_table
from tests.caseload import write_lines
from tests.cases import OWN_FIGURES, PULSE, case_dict


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"clinic.delivery.weekdays": ["tuesday", "friday"], "patient.languages": ["es", "en"]},
        PULSE,
        # a setting with a point in it is one key of the bolus table
        PULSE | {"prescription.rest.pulse_setting": "2.5", "conserver": {"bolus": {"2.5": "30 mL", "2": "22.8 mL"}}},
        {"portable": [case_dict()["portable"][0], case_dict()["portable"][0]]},
        {"clinic.policy": OWN_FIGURES},
    ],
)
def test_a_row_and_a_line_give_the_same_case_as_a_file(tmp_path: Path, changes: dict[str, Any]) -> None:
    raw = case_dict(changes)
    expected = case_from_dict(raw, "a test")
    (row,) = read_rows(write_table(tmp_path / "cases.csv", [dict(flat(raw))]))
    (line,) = read_rows(write_lines(tmp_path / "cases.jsonl", raw))
    for found in (row, line):
        assert case_from_dict(found.raw, "a test").model_dump() == expected.model_dump()


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        pytest.param(b'{"issued": 1}\n\nno json\n[1]\n{"issued": 2}\n', {3, 4}, id="no JSON, no table; blank line"),
        pytest.param(b'\xef\xbb\xbf{"issued": 1}\n{"a": "\xff"}\n{}\n', {2}, id="a mark at the start; no text"),
        pytest.param(b"[" * 100_000 + b"\n{}\n", {1}, id="nested too deep"),
        pytest.param(b'{"a": "' + b"x" * 900_000 + b'"}\n{}\n', {1}, id="too long"),
        pytest.param(b"x" * LARGEST_FILE + b"\n{}\n", {1}, id="just too long"),
        pytest.param(b'{"issued": ' + b"9" * 5000 + b"}\n{}\n", {1}, id="a number of 5,000 digits"),
    ],
)
def test_one_bad_line_costs_no_other(tmp_path: Path, text: bytes, lines: set[int]) -> None:
    path = tmp_path / "cases.jsonl"
    path.write_bytes(text)
    rows = list(read_rows(path))
    assert {row.line for row in rows if row.faults} == lines
    assert any(not row.faults for row in rows)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        pytest.param(b"issued,clinic.name\n2026-11-02,a,b\n2026-11-02,a\n", "the line", id="more cells than columns"),
        pytest.param(b"issued,clinic.name\n2026-11-02,\xff\n2026-11-02,a\n", "clinic.name", id="no UTF-8"),
        pytest.param(
            b"issued,clinic.name\n2026-11-02," + b"x" * 200_000 + b"\n2026-11-02,a\n", "the line", id="too long a cell"
        ),
        pytest.param(
            b"issued,clinic.name\n2026-11-02," + b"," * 900_000 + b"\n2026-11-02,a\n", "the line", id="too long"
        ),
    ],
)
def test_one_bad_row_costs_no_other(tmp_path: Path, text: bytes, where: str) -> None:
    path = tmp_path / "cases.csv"
    path.write_bytes(text)
    bad, good = read_rows(path)
    assert ([fault.where for fault in bad.faults], good.faults) == ([where], ())
    assert good.raw == {"issued": dt.date(2026, 11, 2), "clinic": {"name": "a"}}


@pytest.mark.parametrize("text", [b"", b"\n", b"issued,issued\n2026-11-02,2026-11-02\n", b"x" * 900_000])
def test_refuses_a_table_whose_first_line_names_no_columns(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "cases.csv"
    path.write_bytes(text)
    with pytest.raises(CaseError):
        list(read_rows(path))


@pytest.mark.parametrize(
    ("column", "where"),
    [
        ("reservoir.1.colour", "reservoir[1].colour"),
        ("reservoir.².colour", "reservoir.².colour"),
        ("reservoir.0.colour", "reservoir.0.colour"),
        ("reservoir." + "9" * 5000 + ".colour", "reservoir." + "9" * 107 + "..."),
        ("reservoir.x", "reservoir.x"),
        ("colour", "colour"),
        ("confirmed.1.x", "confirmed"),
        ("prescription.rest.colour", "prescription.rest.colour"),
    ],
)
def test_an_unknown_column_is_told_by_its_path(tmp_path: Path, column: str, where: str) -> None:
    cells = dict(flat(case_dict())) | {column: "grey"}
    (row,) = read_rows(write_table(tmp_path / "cases.csv", [cells]))
    with pytest.raises(CaseError) as caught:
        case_from_dict(row.raw, "a test")
    assert [fault.where for fault in caught.value.faults] == [where]


def test_entries_of_a_folder_are_its_case_files_in_order(tmp_path: Path) -> None:
    for name in ("b.toml", "a/c.toml", ".hidden.toml", "notes.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert [entry.id for entry in entries(tmp_path)] == ["a/c", "b"]


@pytest.mark.parametrize(
    "name",
    [
        *("../x", ".x", "a/b", "", "x" * 65, "\ud800", "x\n", 9 * 10**70, ["a"], None),
        *("errors.txt", "Errors.JSONL", "notices.txt", "manifest.json", "guide.en.pdf", "do-not-hand-over"),
    ],
)
def test_an_id_that_is_no_folder_name_or_taken_is_a_fault(tmp_path: Path, name: object) -> None:
    (entry,) = entries(write_lines(tmp_path / "cases.jsonl", {"id": name}))
    assert [fault.where for fault in entry.faults] == ["id"]


def test_a_second_case_of_one_id_is_a_fault(tmp_path: Path) -> None:
    one, other = entries(write_lines(tmp_path / "cases.jsonl", {"id": "A1"}, {"id": "a1"}))
    assert (one.faults, [fault.problem for fault in other.faults]) == ((), ["line 1 has the same id"])


@pytest.mark.parametrize("name", ["nothing-there", "cases.txt", "empty"])
def test_refuses_what_is_no_caseload(tmp_path: Path, name: str) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "cases.txt").touch()
    with pytest.raises(CompanionError):
        list(entries(tmp_path / name))


@pytest.mark.parametrize(
    ("names", "faulty"),
    [
        pytest.param(["a.toml", "a/c.toml"], {"a": "among those of another case"}, id="a set within a set"),
        pytest.param(["b.toml", "B.toml"], {"b": "among those of another case"}, id="the same on many a disk"),
        pytest.param(["errors.txt.toml", "c.toml"], {"errors.txt": "keeps something else"}, id="the report's name"),
        pytest.param(["a/manifest.json.toml"], {"a/manifest.json": "keeps something else"}, id="the manifest's name"),
        pytest.param(["do-not-hand-over/x.toml"], {"do-not-hand-over/x": "keeps something else"}, id="out of reach"),
        pytest.param([os.fsdecode(b"m\xfcller.toml"), "c.toml"], {"m\udcfcller": "not UTF-8"}, id="Latin-1"),
        pytest.param(["müller.toml", "王.toml", "a b.toml"], {}, id="any text"),
    ],
)
def test_a_case_file_whose_name_cannot_be_a_folder_costs_no_other(
    tmp_path: Path, names: list[str], faulty: dict[str, str]
) -> None:
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    found = list(entries(tmp_path))
    assert len(found) == len(names)
    assert {entry.id for entry in found if entry.faults} == set(faulty)
    for entry in found:
        assert all(faulty[entry.id] in fault.problem for fault in entry.faults)


def test_a_pipe_or_a_device_among_the_files_is_not_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "zero.toml").symlink_to("/dev/zero")
    assert ["could be read for ever" in entry.faults[0].problem for entry in entries(tmp_path)] == [True, True]


def test_a_pipe_is_no_file_of_cases(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "cases.jsonl")
    with pytest.raises(CompanionError, match="no folder of cases"):
        list(entries(tmp_path / "cases.jsonl"))


@pytest.mark.parametrize("cell", ["monday friday", "monday, friday", "monday,friday"])
def test_a_cell_with_several_words_is_a_list(tmp_path: Path, cell: str) -> None:
    path = write_table(tmp_path / "cases.csv", [{"clinic.delivery.weekdays": cell}])
    (row,) = read_rows(path)
    assert row.raw["clinic"]["delivery"]["weekdays"] == ["monday", "friday"]
