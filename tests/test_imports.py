"""The road runs one way: who may import what, read from the source."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import companion

PACKAGE = Path(companion.__file__).parent
MODULES = {
    ".".join(("companion", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__"): path
    for path in PACKAGE.rglob("*.py")
}


def imported_by(module: str) -> Iterator[tuple[str, str]]:
    """Yield the modules that a module names, each with the name taken from it or ''."""
    for node in ast.walk(ast.parse(MODULES[module].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, ""
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative import"
            for alias in node.names:
                below = f"{node.module}.{alias.name}"
                yield (below, "") if below in MODULES else (str(node.module), alias.name)


def ours_from(module: str) -> set[str]:
    """Return our modules that a module names. The front door is none: it loads a room only for who asks for it."""
    return {name for name, _ in imported_by(module) if name in MODULES and name != "companion"}


def ours_below(module: str) -> set[str]:
    """Return our modules that come with a module, at any depth."""
    found: set[str] = set()
    waiting = [module]
    while waiting:
        new = ours_from(waiting.pop()) - found
        found |= new
        waiting += new
    return found


def importers_of(library: str) -> set[str]:
    """Return our modules that name a library."""
    return {
        module
        for module in MODULES
        for name, _ in imported_by(module)
        if name == library or name.startswith(f"{library}.")
    }


def test_the_reader_of_imports_sees_what_it_must() -> None:
    assert "companion.facts.oxygen" in ours_from("companion.reckoning.containers")  # from companion import oxygen
    assert "companion.reckoning.duration" in ours_from(
        "companion.reckoning.plan"
    )  # from companion.reckoning.duration import …
    assert "companion.reckoning.plan" in ours_from("companion.cli.times")  # inside a function
    assert {"companion.facts.units", "companion.facts.region"} <= ours_below("companion.reckoning.plan")


def test_oxygen_imports_nothing_of_ours() -> None:
    assert ours_from("companion.facts.oxygen") == set()


COMPUTING = [
    "companion.case",
    "companion.reckoning.containers",
    "companion.reckoning.demand",
    "companion.reckoning.duration",
    "companion.reckoning.supply",
    "companion.reckoning.deliveries",
    "companion.reckoning.choices",
    "companion.reckoning.outing",
    "companion.reckoning.plan",
    "companion.link.code",
    "companion.link.keys",
    "companion.link.layouts",
    "companion.link.carried",
]


@pytest.mark.parametrize("module", COMPUTING)
def test_computing_knows_no_language_and_no_page(module: str) -> None:
    allowed = ("companion.guide", "companion.language", "companion.web", "companion.cli", "companion.editing")
    assert not {name for name in ours_below(module) if name.startswith(allowed)}


def test_a_case_computes_no_duration() -> None:
    computing = {
        "companion.reckoning.containers",
        "companion.reckoning.demand",
        "companion.reckoning.duration",
        "companion.reckoning.supply",
    }
    assert not ours_below("companion.case") & {*computing, "companion.reckoning.plan"}


def test_a_page_computes_nothing() -> None:
    computing = {
        ("companion.reckoning.duration", "window"),
        ("companion.reckoning.duration", "round_down"),
        ("companion.reckoning.duration", "liquid_minutes_at_least"),
        ("companion.reckoning.plan", "plan"),
        ("companion.reckoning.demand", "demand"),
        ("companion.reckoning.supply", "daily_use"),
        ("companion.reckoning.supply", "reservoir_supply"),
        ("companion.reckoning.containers", "stores"),
        ("companion.facts.oxygen", "cylinder_share"),
        ("companion.facts.oxygen", "liquid_density_kg_per_l"),
    }
    for module in MODULES:
        if module.startswith("companion.guide"):
            taken = set(imported_by(module))
            assert not taken & computing, module
            assert ("companion.reckoning.duration", "") not in taken, module


@pytest.mark.parametrize(
    "module",
    ["companion.guide.tables", "companion.guide.trip_tables", "companion.guide.teach_back", "companion.guide.sections"],
)
def test_the_words_choose_no_figure(module: str) -> None:
    # Which of several is told, and how a reading is rounded, is the business of ``choices``.
    assert not names_in(module) & {"min", "max", "sorted", "ceil", "floor", "round"}


def test_nothing_imports_the_command() -> None:
    others = [module for module in MODULES if not module.startswith("companion.cli")]
    assert [module for module in others if any(name.startswith("companion.cli") for name in ours_from(module))] == [
        "companion.__main__"
    ]


@pytest.mark.parametrize(
    ("library", "homes"),
    [
        ("pint", {"companion.facts.units"}),
        ("babel", {"companion.language.locale", "companion.language.catalogue", "companion.editing.catalogues"}),
        ("holidays", {"companion.facts.days_off"}),
        ("typst", {"companion.render.pdf"}),
        ("zxingcpp", {"companion.render.qr", "companion.recheck.paper"}),
    ],
)
def test_a_library_has_one_home(library: str, homes: set[str]) -> None:
    assert importers_of(library) <= homes
    assert importers_of(library)


def names_in(module: str) -> set[str]:
    """Return the plain names and the last parts of dotted names in a module's code."""
    tree = ast.walk(ast.parse(MODULES[module].read_text(encoding="utf-8")))
    return {
        node.id if isinstance(node, ast.Name) else node.attr
        for node in tree
        if isinstance(node, (ast.Name, ast.Attribute))
    }


def test_only_resources_knows_where_folders_lie() -> None:
    assert {module for module in MODULES if "__file__" in names_in(module)} == {"companion.resources"}


@pytest.mark.parametrize("module", COMPUTING)
def test_computing_reads_no_clock(module: str) -> None:
    for name in {module, *ours_below(module)}:
        assert not names_in(name) & {"today", "now", "utcnow", "monotonic", "perf_counter"}, name
        assert "time" not in {library for library, _ in imported_by(name)}, name
