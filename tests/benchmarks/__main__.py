"""How fast it is on this machine: each step of the road, a caseload on one and two processes, and its growth.

    python -m tests.benchmarks            each step, and 24 cases on 1 and 2 processes
    python -m tests.benchmarks --growth   10, 100 and 1,000 cases as well (minutes)
    python -m tests.benchmarks --others   the same page by WeasyPrint and Chromium, where they are installed

Cases differ from one another in flow, size and name, so that nothing is answered from a cache of the last one.
"""

import argparse
import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from companion.case import Case
from companion.case.read import case_from_dict
from companion.guide.page import Code, guide_page
from companion.guide.pdf import pdf
from companion.link import Keys, address, encode
from companion.locale import Locale
from companion.plan import plan

RUNS = 30
EXAMPLE = Path(__file__).parents[2] / "examples" / "harbour-lane.toml"
KEYS = Keys((b"\x01" * 32,))


def different(number: int) -> dict[str, Any]:
    """Return the example with other flows, another reservoir and another name."""
    raw = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    for place, activity in enumerate(("rest", "exertion", "sleep")):
        raw["prescription"][activity]["flow"] = f"{1 + 0.05 * (number % 60) + 0.25 * place:.2f} L/min"
    raw["reservoir"][0]["liquid_volume"] = f"{36 + 0.1 * (number % 90):.1f} L"
    raw["patient"]["name"] = f"Rosa Lindqvist {number}"
    return raw


def p50(work: Callable[[int], object]) -> float:
    """Return the median of some runs, the first not counted [ms]."""
    times = []
    for number in range(RUNS + 1):
        began = time.perf_counter()
        work(number)
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times[1:])


def peak_mb() -> float:
    """Return the most memory that this process and its children have held [MB]."""
    return sum(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1024


def steps() -> None:
    """Print what each step of the road takes."""
    cases = [case_from_dict(different(number), "a case") for number in range(RUNS + 1)]
    locale = Locale("en", "US")

    def page(case: Case) -> str:
        base = str(case.clinic.link_base)
        return guide_page(case, plan(case), locale, Code(address(base, encode(case, KEYS)), base))

    pages = [page(case) for case in cases]
    print(f"p50 of {RUNS} runs with different cases")
    print(f"  fields to case   {p50(lambda n: case_from_dict(different(n), 'a case')):8.2f} ms")
    print(f"  case to plan     {p50(lambda n: plan(cases[n])):8.2f} ms")
    print(f"  plan to HTML     {p50(lambda n: page(cases[n])):8.2f} ms  (with plan and QR code)")
    print(f"  HTML to PDF      {p50(lambda n: pdf(pages[n], cases[n].issued)):8.2f} ms  (PDF/UA-1)")
    print(f"  peak memory      {peak_mb():8.0f} MB")


def caseload(count: int, processes: int) -> None:
    """Print how long a caseload takes, all sheets as HTML and PDF."""
    with tempfile.TemporaryDirectory(prefix="companion-benchmark-") as name:
        folder = Path(name)
        lines = (json.dumps(different(number), default=str) for number in range(count))
        (folder / "cases.jsonl").write_text("\n".join(lines), encoding="utf-8")
        command = [
            sys.executable,
            "-m",
            "companion",
            "batch",
            str(folder / "cases.jsonl"),
            "--out",
            str(folder / "out"),
        ]
        began = time.perf_counter()
        subprocess.run(  # noqa: S603
            [*command, "--processes", str(processes), "--keys", str(folder / "keys")], check=True, capture_output=True
        )
        took = time.perf_counter() - began
    memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(
        f"  {count:5} cases, {processes} process(es): {count / took:6.2f} guides/s  (largest process {memory:.0f} MB)"
    )


def others() -> None:
    """Print the time of other ways to a PDF of the same page."""
    case = case_from_dict(different(0), "a case")
    page = guide_page(case, plan(case), Locale("en", "US"), Code("https://oxygen.example", "https://oxygen.example"))
    pdf(page, case.issued)
    began = time.perf_counter()
    pdf(page.replace("Rosa", "Rose"), case.issued)
    ours = time.perf_counter() - began
    print(f"  ours             {ours:6.2f} s")
    try:
        import weasyprint
    except ImportError:
        print("  WeasyPrint       not installed")
    else:
        began = time.perf_counter()
        weasyprint.HTML(string=page).write_pdf(pdf_variant="pdf/ua-1")
        print(f"  WeasyPrint       {time.perf_counter() - began:6.2f} s  {(time.perf_counter() - began) / ours:5.1f} ×")
    chromium = shutil.which("chromium")
    if chromium is None:
        print("  Chromium         not installed")
        return
    with tempfile.TemporaryDirectory(prefix="companion-benchmark-") as name:
        source = Path(name) / "page.html"
        source.write_text(page, encoding="utf-8")
        options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        began = time.perf_counter()
        subprocess.run(  # noqa: S603
            [chromium, *options, f"--user-data-dir={name}/u", f"--print-to-pdf={name}/page.pdf", source.as_uri()],
            check=True,
            capture_output=True,
        )
        took = time.perf_counter() - began
    print(f"  Chromium, cold   {took:6.2f} s  {took / ours:5.1f} ×")


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--growth", action="store_true")
    parser.add_argument("--others", action="store_true")
    asked = parser.parse_args()
    steps()
    print("a caseload, all sheets as HTML and PDF")
    caseload(24, 1)
    caseload(24, 2)
    if asked.growth:
        for count in (10, 100, 1000):
            caseload(count, 2)
    if asked.others:
        print("one guide to PDF")
        others()


if __name__ == "__main__":
    main()
