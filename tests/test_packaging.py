"""What is installed: templates and languages are in the wheel, and a guide can be made from another folder."""

import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

from companion.guide.sheets import SHEETS
from tests.tools import ROOT, key_file, program


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel, offline."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(  # noqa: S603
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    return next(folder.glob("*.whl"))


def test_what_is_in_the_wheel(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    assert "companion/templates/print.typ" in names
    assert "companion/templates/sections/fire.md" in names
    assert "companion/locales/ar/messages.po" in names
    assert not [name for name in names if name.startswith(("tests/", "examples/", "locales/", "templates/"))]


def test_what_the_commands_write_stays_out_of_a_clone() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("this is no clone")
    names = [
        f"harbour-lane/{sheet}.{tag}.{end}" for sheet in SHEETS for tag in ("en", "zh-Hans") for end in ("html", "pdf")
    ]
    done = subprocess.run(  # noqa: S603
        [program("git"), "check-ignore", *names], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.stdout.split() == names


def test_the_wheel_makes_a_guide_from_another_folder(wheel: Path, tmp_path: Path) -> None:
    # The environment borrows the libraries of this one, and has our package from the wheel alone.
    venv.create(tmp_path / "env", with_pip=False)
    python = tmp_path / "env" / "bin" / "python"
    site = next((tmp_path / "env" / "lib").glob("python*/site-packages"))
    zipfile.ZipFile(wheel).extractall(site)
    libraries = next(path for path in map(Path, sys.path) if (path / "jinja2").is_dir())
    (site / "libraries.pth").write_text(f"{libraries}\n")
    done = subprocess.run(  # noqa: S603
        [
            *(str(python), "-m", "companion", "guide", str(ROOT / "examples" / "harbour-lane.toml")),
            *("--only", "guide", "--keys", str(key_file(tmp_path / "keys")), "--out", "made"),
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "made" / "guide.en.pdf").read_bytes().startswith(b"%PDF-1.7")
    where = subprocess.run(  # noqa: S603
        [str(python), "-c", "import companion; print(companion.__file__)"], cwd=tmp_path, capture_output=True, text=True
    ).stdout
    assert str(site) in where
