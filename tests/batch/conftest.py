"""A set that is made once for all tests that look at one."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from companion.batch.one import Job, make_one
from tests.batch.loads import entry_of, job_in


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Return a job whose guide of the base case, ``rosa``, is made; not to be changed."""
    job = job_in(tmp_path_factory.mktemp("batch"))
    make_one(entry_of(), job)
    return job


@pytest.fixture
def job(made_once: Job, tmp_path: Path) -> Job:
    """Return the same, to be changed at will."""
    shutil.copytree(made_once.out, tmp_path / "out")
    return replace(made_once, out=tmp_path / "out")
