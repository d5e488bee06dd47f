"""How words and drawings of the guide stand, also on paper: the commands locales, readability, drawings and audit."""

import argparse
from pathlib import Path

from companion.cli import options
from companion.cli.options import Commands, case_argument
from companion.errors import CompanionError, harmless


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    locales = commands.add_parser("locales", help="say how each translation stands, and keep it in step")
    locales.add_argument("tag", nargs="?", metavar="TAG", help="one language, with its messages that need work")
    locales.add_argument("--update", action="store_true", help="bring TAG's messages.po in step; makes a new language")
    locales.add_argument("--reviewed-by", metavar="NAME", help="record that this translator has reviewed TAG today")
    locales.add_argument("--qualification", metavar="WORDS", help="the reviewer's qualification")
    locales.set_defaults(run=_locales)

    readability = commands.add_parser("readability", help="measure how hard the English guide of a case is to read")
    case_argument(readability)
    readability.set_defaults(run=_readability)

    drawings = commands.add_parser(
        "drawings", help="write one page with every drawing, its caption and alternative text"
    )
    drawings.add_argument("--out", type=Path, required=True, metavar="FILE", help="the HTML file to write")
    options.language_option(drawings)
    drawings.set_defaults(run=_drawings)

    audit = commands.add_parser(
        "audit", help="look over finished PDFs: clean (exit 0), or what is outside, apart, over something else (1)"
    )
    audit.add_argument("pdfs", nargs="+", type=Path, metavar="FILE.pdf", help="a sheet made by this program")
    audit.add_argument("--most", type=int, metavar="PAGES", help="how many pages each may have; default: any number")
    audit.add_argument("--fill", action="store_true", help="show how full each page is")
    audit.set_defaults(run=_audit)


def _locales(arguments: argparse.Namespace) -> int:
    from companion.editing import catalogues as catalogue
    from companion.language.catalogue import SOURCE, available, settings

    tag = arguments.tag
    if tag is None:
        print(f"{'language':10} {'translated':>12} {'stale':>6} {'faults':>7}  review by a qualified translator")
        for found in map(catalogue.state, (name for name in available() if name != SOURCE)):
            print(
                f"{found.tag:10} {f'{found.translated}/{found.messages}':>12} {len(found.stale):>6} "
                f"{len(found.faults):>7}  {catalogue.review_words(found)}"
            )
        return 0
    if arguments.update:
        print(f"Wrote {catalogue.update(tag)}")
    else:
        settings(tag)
    if arguments.reviewed_by:
        if not arguments.qualification:
            raise CompanionError("A review needs the reviewer's qualification: add --qualification WORDS.")
        print(f"Wrote {catalogue.record_review(tag, arguments.reviewed_by, arguments.qualification, options.today())}")
    for line in catalogue.work_left(tag):
        print(line)
    return 0


def _readability(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.editing.readability import measure
    from companion.guide.sheets import document
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case, arguments.today)
    figures = measure(document("guide", case, plan(case), Locale("en", case.clinic.region), None))
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
    faults = [f"{found.name}: {fault}" for found in figures for fault in found.faults]
    if faults:
        raise CompanionError("\n".join(faults))
    return 0


def _drawings(arguments: argparse.Namespace) -> int:
    from companion.editing.drawings import sheet
    from companion.files import write_whole
    from companion.language.locale import Locale

    write_whole(arguments.out, sheet(Locale(arguments.language, "US")).encode())
    print(f"Wrote {arguments.out}")
    return 0


def _audit(arguments: argparse.Namespace) -> int:
    from companion.editing.audit import audit
    from companion.editing.printed import AuditError, read_printed

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
