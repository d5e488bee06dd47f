"""What ``examples/serving`` shows an administrator works: systemd takes the units, this program the commands."""

import json
import re
import shlex
import subprocess
from pathlib import Path

import pytest

from companion.cli import parser
from tests.tools import ROOT, program

SERVING = ROOT / "examples/serving"
UNITS = sorted(SERVING.glob("*.service"))


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.stem)
def test_systemd_finds_nothing_wrong(unit: Path, tmp_path: Path) -> None:
    # The program stands where an administrator has installed it, and not here.
    copy = tmp_path / unit.name
    copy.write_text(unit.read_text(encoding="utf-8").replace("/opt/companion/bin/companion", "/bin/true"))
    command = [program("systemd-analyze"), "verify", "--man=no", str(copy)]
    told = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (told.returncode, told.stderr) == (0, "")


def commands() -> list[list[str]]:
    """Return what each unit, the container and the guide start, without the path of the program."""
    found = [
        shlex.split(line.partition("=")[2].replace("${", "").replace("}", ""))[1:]
        for unit in UNITS
        for line in unit.read_text(encoding="utf-8").splitlines()
        if line.startswith("ExecStart=")
    ]
    container = (SERVING / "Containerfile").read_text(encoding="utf-8")
    found += [json.loads(words) for words in re.findall(r"^CMD (\[.*\])$", container, re.MULTILINE)]
    guide = (SERVING / "README.md").read_text(encoding="utf-8")
    return found + [shlex.split(line, comments=True)[1:] for line in re.findall(r"^companion .*$", guide, re.MULTILINE)]


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_each_command_can_be_typed(words: list[str]) -> None:
    assert parser().parse_args(words).run


def test_there_is_something_to_type() -> None:
    assert len(UNITS) == 2
    assert len(commands()) >= 7
