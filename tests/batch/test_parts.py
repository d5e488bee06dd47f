"""A caseload in parts, and the table of what became of each case."""

import csv
import datetime as dt
from pathlib import Path
from xml.etree import ElementTree

import pytest

from companion.batch.entries import Entry, entries
from companion.batch.folders import INDEX
from companion.batch.index import index_row, write_index
from companion.batch.manifest import MANIFEST
from companion.batch.one import Result
from companion.batch.parts import Part
from companion.cli import main
from companion.errors import Fault
from tests.batch.loads import batch_words, numbered_cases, write_files, write_keys
from tests.caseload import write_lines
from tests.cases import case_dict

XHTML = "{http://www.w3.org/1999/xhtml}"


def table_in(folder: Path) -> list[dict[str, str]]:
    """Return the lines of the table of a caseload."""
    return list(csv.DictReader((folder / INDEX[0]).read_text(encoding="utf-8").splitlines()))


def test_each_case_belongs_to_one_part(tmp_path: Path) -> None:
    cases = numbered_cases(tmp_path / "cases.jsonl", 40)
    parts = [{entry.id for entry in entries(cases, Part(number, 3))} for number in (1, 2, 3)]
    assert sorted(case_id for part in parts for case_id in part) == sorted(entry.id for entry in entries(cases))
    assert all(parts)


def test_a_case_keeps_its_part_when_others_come_and_go(tmp_path: Path) -> None:
    before = {entry.id for entry in entries(numbered_cases(tmp_path / "cases.jsonl", 40), Part(2, 3))}
    fewer = write_lines(tmp_path / "cases.jsonl", *(case_dict() | {"id": f"p{number}"} for number in range(0, 40, 2)))
    after = {entry.id for entry in entries(fewer, Part(2, 3))}
    assert after == {case_id for case_id in before if int(case_id[1:]) % 2 == 0}


def test_parts_lie_beside_each_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases = write_files(tmp_path / "cases", {f"c{number}": None for number in range(6)})  # faulty, so nothing is set
    keys = write_keys(tmp_path)
    for part in ("1/2", "2/2"):
        words = batch_words(cases, tmp_path / "out", keys)
        assert main([*words, "--part", part, "--quiet"]) == 2
        assert not capsys.readouterr().out
    told = [line["id"] for number in (1, 2) for line in table_in(tmp_path / "out" / f"part-{number}-of-2")]
    assert sorted(told) == [f"c{number}" for number in range(6)]


@pytest.mark.parametrize("place", ["rosa", "part-1-of-3/rosa", "do-not-hand-over/rosa"])
def test_guides_that_are_divided_otherwise_are_not_mixed(
    place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out" / place).mkdir(parents=True)
    (tmp_path / "out" / place / MANIFEST).touch()
    words = batch_words(numbered_cases(tmp_path / "cases.jsonl", 1), tmp_path / "out", write_keys(tmp_path))
    assert main([*words, "--part", "1/2"]) == 2
    assert "not divided into 2 parts" in capsys.readouterr().err


@pytest.mark.parametrize("part", ["0/2", "3/2", "2", "1/0", "1/2/3", "a/b", "1/٣"])
def test_what_is_no_part(part: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["batch", "cases", "--out", "out", "--part", part])
    assert "write the third of eight as 3/8" in capsys.readouterr().err


def rows() -> list[Result]:
    """Return a case that was made, one that was kept, and one with faults."""
    urgent, other = {"rank": 1, "words": "dry"}, {"rank": 2, "words": "altitude"}
    fault = Fault("prescription.rest.flow", "Rosa", "not a number", "2 L/min", "the prescriber")
    day = dt.date(2027, 5, 3)
    return [
        Result(Entry("b", "cases.csv", 3, {}), "made", (), (urgent, other, other), ("es", "en"), day),
        Result(Entry("a & b", "cases.csv", 2, {}), "kept", (), (), ("en",), day),
        Result(Entry("=1+1", "=1+1.toml", None, None), "faulty", (fault,)),
    ]


def test_the_table_of_a_caseload(tmp_path: Path) -> None:
    write_index(tmp_path, [index_row(result) for result in rows()], stopped=False)
    lines = table_in(tmp_path)
    names = ("id", "state", "languages", "review_date", "may_run_out", "notices", "faults", "line", "guide")
    assert [tuple(line[name] for name in names) for line in lines] == [
        ("'=1+1", "faulty", "", "", "0", "0", "1", "", ""),  # no spreadsheet computes it
        ("a & b", "kept", "en", "2027-05-03", "0", "0", "0", "2", "a & b/guide.en.html"),
        ("b", "made", "es en", "2027-05-03", "1", "2", "0", "3", "b/guide.es.html"),
    ]
    page = (tmp_path / INDEX[1]).read_text(encoding="utf-8")
    assert "Rosa" not in page + str(lines)
    assert "was stopped" not in page
    body = ElementTree.fromstring(page.replace("<!DOCTYPE html>", ""))
    assert [link.get("href") for link in body.iter(f"{XHTML}a")] == [
        "notices.txt",
        "errors.txt",
        "a%20%26%20b/guide.en.html",
        "b/guide.es.html",
    ]
    assert len(list(body.iter(f"{XHTML}tr"))) == 4


def test_the_table_of_a_stopped_run_says_so(tmp_path: Path) -> None:
    write_index(tmp_path, [], stopped=True)
    assert "nothing is known" in (tmp_path / INDEX[1]).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["index.csv", "INDEX.HTML"])
def test_no_case_takes_the_place_of_the_table(name: str, tmp_path: Path) -> None:
    (entry,) = entries(write_lines(tmp_path / "cases.jsonl", case_dict() | {"id": name}))
    assert entry.faults
