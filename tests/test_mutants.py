"""The faults that are put in by hand can still be made: each stands in its file as it is described, once."""

import pytest

from tests.mutants import MUTANTS, Mutant
from tests.tools import ROOT


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.harm)
def test_each_fault_can_be_made(mutant: Mutant) -> None:
    assert (ROOT / mutant.file).read_text(encoding="utf-8").count(mutant.before) == 1
    assert mutant.before != mutant.after
    assert all((ROOT / test.partition("::")[0]).is_file() for test in mutant.tests)
