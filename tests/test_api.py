"""The front door for programs: what README shows is run as it stands there."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import companion
from companion.guide.sheet_names import SHEETS
from tests.tools import ROOT, key_file

EXAMPLE = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)


def test_the_example_runs_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    key_file(tmp_path / "link.keys")
    monkeypatch.chdir(tmp_path)
    (code,) = EXAMPLE
    exec(compile(code, "README.md", "exec"), {})  # noqa: S102 - our own text
    assert "portable-1, full, exertion: 355 minutes" in capsys.readouterr().out.splitlines()
    for sheet in SHEETS:
        assert (tmp_path / f"{sheet}.en.pdf").read_bytes().startswith(b"%PDF-1.7")
        assert (tmp_path / f"{sheet}.en.html").is_file()


def test_every_name_of_the_front_door_opens() -> None:
    for name in companion.__all__:
        assert getattr(companion, name) is not None
    assert set(companion._HOMES) | {"__version__"} == set(companion.__all__)
    with pytest.raises(AttributeError, match="no attribute 'make_guide'"):
        companion.make_guide  # noqa: B018 - it is the question


def test_the_front_door_loads_nothing() -> None:
    question = "import companion, sys; print(*sorted(name for name in sys.modules if name.startswith('companion')))"
    done = subprocess.run([sys.executable, "-c", question], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["companion"]
