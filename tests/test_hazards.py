"""The table of hazards names tests that are there."""

import ast
import re

import pytest

from tests.tools import ROOT

TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("\n## Hazards\n")[2].partition("\n## ")[0]
ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in TEXT.splitlines() if line.startswith("| ")][
    1:
]
NAMED = re.compile(r"`([a-z_/]+)::(test_[a-z0-9_]+)`")


def test_the_table_is_read() -> None:
    assert len(ROWS) > 30
    assert {len(row) for row in ROWS} == {5}
    assert all(all(row) for row in ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[1])
def test_each_control_is_held_by_a_test_that_is_there(row: list[str]) -> None:
    named = NAMED.findall(row[4])
    assert named or row[4] == "no test yet"
    for module, name in named:
        tree = ast.parse((ROOT / "tests" / f"{module}.py").read_text(encoding="utf-8"))
        assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, (
            f"{module}::{name} is gone"
        )
