"""What is installed and declared: the wheel holds templates and languages, and makes a guide from another folder."""

import ast
import re
import subprocess
import sys
import tomllib
import venv
import zipfile
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from companion.guide.sheet_names import SHEETS
from tests.tools import ROOT, key_file, program


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel, offline."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
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
    assert {"companion/py.typed", "companion/CHANGES.md"} <= set(names)
    assert not [name for name in names if name.startswith(("tests/", "examples/", "locales/", "templates/"))]


def test_what_the_commands_write_stays_out_of_a_clone() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("this is no clone")
    names = [
        f"harbour-lane/{name}"
        for tag in ("en", "zh-Hans")
        for name in (f"guide.{tag}.txt", *(f"{sheet}.{tag}.{end}" for sheet in SHEETS for end in ("html", "pdf")))
    ]
    done = subprocess.run(
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
    done = subprocess.run(
        [
            *(str(python), "-I", "-m", "companion", "guide", str(ROOT / "examples" / "harbour-lane.toml")),
            *("--only", "door", "--keys", str(key_file(tmp_path / "keys")), "--out", "made"),
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "made" / "door.en.pdf").read_bytes().startswith(b"%PDF-1.7")
    where = subprocess.run(
        [str(python), "-I", "-c", "import companion; print(companion.__file__)"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    assert str(site) in where


# ── what is declared ────────────────────────────────────────────────────────────────────────────

DECLARED = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = DECLARED["optional-dependencies"]
NOT_DECLARED = {"companion", "tests", "icu", "weasyprint"}
"""Ourselves, PyICU (built by ``.ci/run``), and what the benchmark measures beside us where it is there."""


def names(requirements: list[str]) -> set[str]:
    """Return the packages that requirements name, as the index spells them."""
    return {canonicalize_name(re.split(r"[\[>=<;! ]", one, maxsplit=1)[0]) for one in requirements}


def imported(folder: str) -> set[str]:
    """Return the packages whose modules are imported below a folder, wherever in a file that is."""
    found = {
        module
        for path in (ROOT / folder).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        for module in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    tops = {module.partition(".")[0] for module in found} - set(sys.stdlib_module_names) - NOT_DECLARED
    homes = packages_distributions()
    return {canonicalize_name(homes[top][0]) for top in tops}


def test_every_package_that_is_imported_is_declared() -> None:
    own = names(DECLARED["dependencies"]) | set().union(*(names(EXTRAS[name]) for name in EXTRAS if name != "test"))
    assert imported("companion") <= own
    assert imported("tests") <= own | names(EXTRAS["test"])


def test_every_package_is_held_to_a_version_by_the_constraints() -> None:
    text = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8")
    held = {name: version for name, _, version in (line.partition("==") for line in text.split()) if version}
    for requirement in [*DECLARED["dependencies"], *(one for extra in EXTRAS.values() for one in extra)]:
        wanted = Requirement(requirement)
        if wanted.name != "companion":
            assert wanted.specifier.contains(held[canonicalize_name(wanted.name)]), requirement


# From the advisories named; a version below the bound has the fault.
@pytest.mark.parametrize(
    ("package", "mended_in"),
    [
        ("python-multipart", "0.0.27"),  # CVE-2026-40347, CVE-2026-42561: a slow multipart form
        ("pillow", "12.3"),  # CVE-2026-25990 and others: writes out of bounds
        ("filelock", "3.20.3"),  # CVE-2025-68146, CVE-2026-22701: a link in the place of a lock is followed
        ("h11", "0.16"),  # CVE-2025-43859: chunks with the wrong end
        ("jinja2", "3.1.6"),  # CVE-2025-27516: out of the sandbox
    ],
)
def test_no_version_with_a_known_fault_is_let_in(package: str, mended_in: str) -> None:
    requirements = [*DECLARED["dependencies"], *(one for extra in EXTRAS.values() for one in extra)]
    (wanted,) = (one for one in map(Requirement, requirements) if one.name == package)
    (lowest,) = (Version(part.version) for part in wanted.specifier if part.operator == ">=")
    assert lowest >= Version(mended_in)
