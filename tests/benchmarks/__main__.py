"""How fast, how much memory, and beside what: one run prints all. Some five minutes on two cores.

Ratios hold from machine to machine; times do not.
"""

import argparse
import resource
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import typst

from companion import fonts, resources
from companion.batch.one import Job, Result
from companion.batch.run import run
from companion.batch.stamp import made_with
from companion.case.read import case_from_dict
from companion.guide.document import Document, Sheet
from companion.guide.sheet_names import SHEETS
from companion.guide.sheets import document
from companion.language.locale import Locale
from companion.link.keys import Keys, load_keys
from companion.make import code_of
from companion.reckoning.plan import plan
from companion.render import pdf
from companion.render.html import html
from tests.benchmarks.caseload import raw_cases, write_cases
from tests.tools import CHROMIUM_SWITCHES, key_file

RUNS = 30
CHROMIUM = [
    "chromium",
    "--headless",
    *CHROMIUM_SWITCHES,
    "--no-pdf-header-footer",
]


def main() -> None:
    """Print every figure."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    words.add_argument("--cases", type=int, default=1000, metavar="N", help="largest caseload; default: 1000")
    largest = words.parse_args().cases
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        keys = key_file(work / "link.keys")
        pages = _stages(load_keys(keys))
        _beside_others(pages, work)
        _caseload(work, keys, largest)


def _median_ms(work: Callable[[Any], object], things: list[Any]) -> float:
    times = []
    for thing in things:
        start = time.perf_counter()
        work(thing)
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def _stages(keys: Keys) -> list[Document]:
    """Time each step of the road on cases that differ; return the guide's pages."""
    print(f"── steps, median of {RUNS} runs with different cases, after a first one ──")
    locale = Locale("en", "US")
    raws = [{name: value for name, value in raw.items() if name != "id"} for raw in raw_cases(RUNS + 1)]
    cases = [case_from_dict(raw, "a benchmark") for raw in raws]
    made = [plan(case) for case in cases]

    def document_of(sheet: Sheet, number: int) -> Document:
        case, planned = cases[number], made[number]
        return document(sheet, case, planned, locale, code_of(case, planned, locale, keys))

    for sheet in SHEETS:  # the first one loads fonts and templates
        html(document_of(sheet, 0))
        pdf.pdf(document_of(sheet, 0), cases[0].issued)
    numbers = list(range(1, RUNS + 1))
    print(f"fields to Case    {_median_ms(lambda n: case_from_dict(raws[n], 'a benchmark'), numbers):7.1f} ms")
    print(f"Case to Plan      {_median_ms(lambda n: plan(cases[n]), numbers):7.1f} ms")
    total = 0.0
    for sheet in SHEETS:
        documents = [document_of(sheet, 0)]
        said = _median_ms(lambda n, sheet=sheet, made=documents: made.append(document_of(sheet, n)), numbers)  # type: ignore[misc]
        as_html = _median_ms(lambda n, made=documents: html(made[n]), numbers)  # type: ignore[misc]
        as_pdf = _median_ms(lambda n, made=documents: pdf.pdf(made[n], cases[n].issued), numbers)  # type: ignore[misc]
        # The floor: the same document through a compiler that does nothing else.
        files = [pdf._files(one) for one in documents]
        floor = _median_ms(lambda n, files=files: _bare(files[n]), numbers)  # type: ignore[misc]
        total += said + as_html + as_pdf
        print(
            f"{sheet:<10} to document {said:5.1f} ms   to HTML {as_html:5.1f} ms   to PDF {as_pdf:6.1f} ms   "
            f"÷ bare Typst {(said + as_pdf) / floor:.2f}"
        )
    print(f"whole set         {total:7.1f} ms for {2 * len(SHEETS)} files")
    print(f"peak memory       {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:7.0f} MB")
    return [document_of("guide", number) for number in range(1, 6)]


_COMPILERS: list[typst.Compiler] = []


def _bare(files: dict[str, bytes], run: str = "bare") -> object:
    """Typeset with a compiler that does nothing else; it knows again only what it has typeset in a run of that name."""
    if not _COMPILERS:
        loaded = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=fonts.folders())
        _COMPILERS.append(typst.Compiler(root=resources.folder("templates"), font_paths=loaded))
    # An input that the program does not give is part of all that Typst keeps.
    return _COMPILERS[0].compile(  # type: ignore[type-var]
        files, format="pdf", sys_inputs={"run": run}, pdf_standards=["ua-1"], timestamp=1
    )


def _beside_others(pages: list[Document], work: Path) -> None:
    """Time other ways to print the same page of the guide; what is not installed is left out."""
    print("── the guide's PDF beside other ways to print the same page ──")
    # Each time as if Typst had seen nothing of it, which the others have not either.
    ours = _median_ms(lambda page: _bare(pdf._files(page), str(time.perf_counter_ns())), pages)
    print(f"this program      {ours:7.0f} ms")
    try:
        import weasyprint
    except ImportError:
        print("WeasyPrint: not installed, not measured")
    else:
        theirs = _median_ms(
            lambda page: weasyprint.HTML(string=html(page)).write_pdf(pdf_variant="pdf/ua-1"), pages[:3]
        )
        print(f"WeasyPrint {weasyprint.__version__:<6} {theirs:7.0f} ms, {theirs / ours:.1f} times as long")
    files = []
    for number, page in enumerate(pages[:3]):
        files.append(work / f"{number}.html")
        files[-1].write_text(html(page), encoding="utf-8")

    def print_page(path: Path) -> None:
        words = [*CHROMIUM, f"--print-to-pdf={path.with_suffix('.pdf')}", path.as_uri()]
        subprocess.run(words, check=True, capture_output=True)

    try:
        theirs = _median_ms(print_page, files)
    except FileNotFoundError:
        print("Chromium: not installed, not measured")
    else:
        print(f"Chromium          {theirs:7.0f} ms, {theirs / ours:.1f} times as long (with its start)")


def _caseload(work: Path, keys: Path, largest: int) -> None:
    """Time whole caseloads, and watch the memory of the workers."""
    print("── caseload: HTML and PDF of every sheet ──")
    job = Job(work / "warm", keys, ("en",), made_with(load_keys(keys)))
    sizes = [size for size in (10, 100, 1000, 10_000) if size <= largest]
    for processes, size in [(1, 100), *((2, size) for size in sizes)]:
        cases = write_cases(work / "cases.jsonl", size)
        out = work / f"out-{processes}-{size}"
        peak: list[int] = []
        start, cpu = time.perf_counter(), _children_cpu_s()
        first: list[float] = []

        def tell(_: Result, peak: list[int] = peak, first: list[float] = first) -> None:
            if not first:
                first.append(time.perf_counter())
            peak.append(max(_worker_kb(), default=0))

        outcome = run(cases, Job(out, keys, job.languages, job.made_with), processes, tell)
        took = time.perf_counter() - start
        rate = (size - 1) / (time.perf_counter() - first[0])
        assert outcome.counted["made"] == size, outcome
        print(
            f"{size:>6} cases, {processes} processes: {took:7.1f} s in all, {rate:5.2f} cases/s once started, "
            f"{(_children_cpu_s() - cpu) / size * 1000:.0f} ms of processor a case; "
            f"largest worker {max(peak[:10]) // 1024} MB in the first 10, {max(peak) // 1024} MB in all; "
            f"parent {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MB"
        )


def _children_cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _worker_kb() -> list[int]:
    """Return the memory of each process of the pool [kB]; Linux only."""
    found = []
    me = Path("/proc/self/task")
    for task in me.iterdir():
        for child in (task / "children").read_text(encoding="ascii").split():
            try:
                status = Path(f"/proc/{child}/status").read_text(encoding="utf-8")
            except OSError:
                continue
            found += [int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")]
    return found


if __name__ == "__main__":
    main()
