"""How words and drawings of the guide stand, also on paper: the commands locales, readability, drawings and audit."""

import argparse
import sys
from dataclasses import asdict
from pathlib import Path

from companion.cli import options
from companion.cli.options import case_argument, for_programs_option
from companion.cli.parsing import Commands, command
from companion.errors import CompanionError, harmless


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    locales = command(
        commands,
        "locales",
        _locales,
        "say how each translation stands, and keep it in step",
        "locales",
        "locales es --update",
        "locales es --reviewed-by 'A. Navarro' --qualification 'certified medical translator'",
    )
    locales.add_argument("tag", nargs="?", metavar="TAG", help="one language, with its messages that need work")
    locales.add_argument("--update", action="store_true", help="bring TAG's messages.po in step; makes a new language")
    locales.add_argument("--reviewed-by", metavar="NAME", help="record that this translator has reviewed TAG today")
    locales.add_argument("--qualification", metavar="WORDS", help="the reviewer's qualification")
    for_programs_option(locales)

    readability = command(
        commands,
        "readability",
        _readability,
        "measure how hard the English guide of a case is to read",
        "readability case.toml",
    )
    case_argument(readability)
    for_programs_option(readability)

    drawings = command(
        commands,
        "drawings",
        _drawings,
        "write one page with every drawing, its caption and alternative text",
        "drawings --language es --out drawings.html",
    )
    drawings.add_argument("--out", type=Path, required=True, metavar="FILE", help="the HTML file to write")
    options.language_option(drawings)

    audit = command(
        commands,
        "audit",
        _audit,
        "look over finished PDFs: clean (exit 0), or what is outside, apart, over something else (1)",
        "audit harbour-lane/*.pdf",
        "audit guide.en.pdf --most 32 --fill",
    )
    audit.add_argument("pdfs", nargs="+", type=Path, metavar="FILE.pdf", help="a sheet made by this program")
    audit.add_argument("--most", type=int, metavar="PAGES", help="how many pages each may have; default: any number")
    audit.add_argument("--fill", action="store_true", help="show how full each page is")
    for_programs_option(audit)


def _locales(arguments: argparse.Namespace) -> int:
    from companion.editing import catalogues as catalogue
    from companion.editing.desk_messages import desk_state
    from companion.export.answer import as_json_line
    from companion.language.catalogue import SOURCE, available, settings

    def tell(words: str) -> None:
        print(words, file=sys.stderr if arguments.format == "json" else sys.stdout)

    tag = arguments.tag
    if tag is not None and not arguments.update:
        settings(tag)
    if tag is not None and arguments.update:
        tell(f"Wrote {catalogue.update(tag)}")
    if tag is not None and arguments.reviewed_by:
        if not arguments.qualification:
            raise CompanionError("A review needs the reviewer's qualification: add --qualification WORDS.")
        tell(f"Wrote {catalogue.record_review(tag, arguments.reviewed_by, arguments.qualification, options.today())}")
    tags = [name for name in available() if name != SOURCE] if tag is None else [tag]
    if arguments.format == "json":
        for found in map(catalogue.state, tags):
            desk = desk_state(found.tag)
            told = {"review": catalogue.review_words(found), "desk": asdict(desk) if desk else None}
            print(as_json_line({**asdict(found), **told}), end="")
    elif tag is None:
        heads = f"{'language':10} {'translated':>12} {'stale':>6} {'faults':>7} {'desk':>9}"
        print(f"{heads}  review by a qualified translator")
        for found in map(catalogue.state, tags):
            desk = desk_state(found.tag)
            of_desk = f"{desk.messages - len(desk.missing)}/{desk.messages}" if desk else "English"
            print(
                f"{found.tag:10} {f'{found.translated}/{found.messages}':>12} {len(found.stale):>6} "
                f"{len(found.faults):>7} {of_desk:>9}  {catalogue.review_words(found)}"
            )
    else:
        for line in catalogue.work_left(tag):
            print(line)
    return 0


def _readability(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.editing.readability import measure
    from companion.export.answer import as_json_line
    from companion.guide.sheets import document
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case, arguments.today)
    figures = measure(document("guide", case, plan(case), Locale("en", case.clinic.region), None))
    faults = [f"{found.name}: {fault}" for found in figures for fault in found.faults]
    if arguments.format == "json":
        for found in figures:
            print(as_json_line({**asdict(found), "faults": found.faults}), end="")
        return 2 if faults else 0
    print(f"{'section':22} {'words':>6} {'grade':>6} {'grade*':>7} {'mean':>6} {'longest':>8}")
    for found in figures:
        print(
            f"{found.name:22} {found.words:6} {found.grade_as_is:6.1f} {found.grade:7.1f} "
            f"{found.mean_words:6.1f} {found.longest_words:8}"
        )
    print("grade: Flesch-Kincaid as is; grade*: without the words that must stay; mean and longest sentence in words")
    for found in figures[:-1]:
        for what, sentences in (("few words", found.short), ("pronoun", found.pronouns)):
            for sentence in sentences:
                print(f"{found.name}: {what}: {sentence}")
    if faults:
        raise CompanionError("\n".join(faults))
    return 0


def _drawings(arguments: argparse.Namespace) -> int:
    from companion.editing.drawings import sheet
    from companion.files import write_whole

    write_whole(arguments.out, sheet(options.locale(arguments.language, "US")).encode())
    print(f"Wrote {arguments.out}")
    return 0


def _audit(arguments: argparse.Namespace) -> int:
    from companion.editing.audit import audit
    from companion.editing.read_printed import AuditError, read_printed
    from companion.export.answer import as_json_line

    clean = True
    for path in arguments.pdfs:
        try:
            printed = read_printed(path.read_bytes())
        except OSError as error:
            raise AuditError(f"{path} cannot be read: {error.strerror}.") from error
        except AuditError as error:
            raise AuditError(f"{path}: {error}") from error
        found = audit(printed, arguments.most)
        clean = clean and not found.faults
        if arguments.format == "json":
            print(as_json_line({"file": path, **asdict(found)}), end="")
            continue
        for fault in found.faults:
            print(f"{path}: {harmless(str(fault))}")
        if arguments.fill:
            for number, fill in enumerate(found.fills, start=1):
                print(f"{path}: page {number}: {fill:.0%} full")
        told = (
            "no faults" if not found.faults else "1 fault" if len(found.faults) == 1 else f"{len(found.faults)} faults"
        )
        print(f"{path}: pages: {len(found.fills)}, {found.mean_fill:.0%} full on the mean; {told}")
    return 0 if clean else 1
