"""The command. Each command parses its words, walks the road and writes what comes out; it computes nothing.

Heavy libraries are imported by the commands that need them, so that ``companion --help`` answers at once.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from companion import __version__
from companion.errors import CompanionError, harmless
from companion.guide.sheets import SHEETS, is_sheet_file, picked

if TYPE_CHECKING:
    from companion.case import Case
    from companion.language.locale import Locale
    from companion.link.keys import Keys


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return 0 for done, 1 where the answer is no, 2 for bad input, 130 where it was stopped."""
    arguments = _parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        return run(arguments)
    except CompanionError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped. What is written is whole.", file=sys.stderr)
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="companion",
        description="Makes a large-print home guide for one patient's liquid oxygen. "
        "It does not replace the prescriber, the supplier or local codes.",
    )
    parser.add_argument("--version", action="version", version=f"companion {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    check = commands.add_parser("check", help="say all that is wrong or missing in a case file")
    check.add_argument("case", type=Path, metavar="CASE")
    check.set_defaults(run=_check)

    table = commands.add_parser("table", help="show how long each container lasts")
    table.add_argument("case", type=Path, metavar="CASE")
    table.add_argument("--format", choices=("text", "json", "csv", "html", "pdf"), default="text")
    table.add_argument("--out", type=Path, metavar="FILE", help="write to a file (needed for pdf)")
    _language(table)
    _keys(table)
    table.set_defaults(run=_table)

    guide = commands.add_parser("guide", help="make the home guide and its sheets, as HTML and PDF")
    guide.add_argument("case", type=Path, metavar="CASE")
    guide.add_argument("--out", type=Path, metavar="FOLDER", help="default: a folder named after the case, here")
    guide.add_argument("--only", metavar="SHEETS", help=f"default: {','.join(SHEETS)}")
    guide.add_argument("--language", metavar="TAG", help="default: the languages that the case names, else en")
    guide.add_argument(
        "--with",
        dest="beside",
        metavar="TAG",
        help="set a second language under each line, to point at with a patient",
    )
    _keys(guide)
    guide.set_defaults(run=_guide)

    outing = commands.add_parser(
        "outing", help="say whether a portable lasts for an outing: yes (exit 0), no (1) or bad input (2)"
    )
    outing.add_argument("case", type=Path, metavar="CASE")
    outing.add_argument(
        "--stretch",
        action="append",
        required=True,
        metavar="WORDS",
        help="one part of the outing, in their order: 'walk 40 min' or 'travel 1 h' on the way, "
        "'sit 2 h', 'stroll 20 min' or 'sleep 1 h' where you stay",
    )
    outing.add_argument("--portable", type=int, default=1, metavar="NUMBER", help="which portable; default: 1")
    outing.add_argument(
        "--level",
        choices=("full", "3/4", "1/2", "1/4"),
        default="full",
        help="its gauge shows this; default: full",
    )
    outing.add_argument("--format", choices=("text", "json"), default="text")
    _language(outing)
    outing.set_defaults(run=_outing)

    supply = commands.add_parser("supply", help="show the supply plan: days to empty, deliveries, back-up, what if")
    supply.add_argument("case", type=Path, metavar="CASE")
    supply.add_argument("--format", choices=("text", "json", "ics"), default="text", help="ics: for a phone's calendar")
    supply.add_argument("--out", type=Path, metavar="FILE")
    _language(supply)
    supply.set_defaults(run=_supply)

    batch = commands.add_parser("batch", help="make the guides of many cases; run it again to go on where it stopped")
    batch.add_argument("source", type=Path, nargs="?", metavar="FILE_OR_FOLDER", help="a folder, a .csv, a .jsonl")
    batch.add_argument("--out", type=Path, required=True, metavar="DIR")
    batch.add_argument("--processes", type=int, metavar="N", help="default: one for each core")
    batch.add_argument(
        "--language",
        action="append",
        metavar="TAG",
        help="for cases that name no language of their own; may be given several times; default: en",
    )
    _keys(batch)
    batch.add_argument(
        "--changed-since",
        metavar="VERSION",
        help="make nothing; list the guides in DIR, made by this version or an older one, whose figures have changed",
    )
    batch.set_defaults(run=_batch)

    fhir = commands.add_parser("fhir", help="turn a FHIR R4 bundle into as much of a case file as it says")
    fhir.add_argument("bundle", type=Path, metavar="BUNDLE")
    fhir.add_argument("--out", type=Path, metavar="CASE", help="write the case file; default: print it")
    fhir.set_defaults(run=_fhir)

    recheck = commands.add_parser(
        "recheck", help="hold a guide against today's figures: same (exit 0), stale (1) or not ours (2)"
    )
    recheck.add_argument("guide", type=Path, metavar="GUIDE", help="its HTML, its PDF, or a photo of its QR code")
    recheck.add_argument("--case", type=Path, metavar="CASE", help="hold it against today's order as well")
    _keys(recheck)
    recheck.set_defaults(run=_recheck)

    locales = commands.add_parser("locales", help="say how each translation stands, and keep it in step")
    locales.add_argument("tag", nargs="?", metavar="TAG", help="one language, with its messages that need work")
    locales.add_argument("--update", action="store_true", help="bring TAG's messages.po in step; makes a new language")
    locales.add_argument("--reviewed-by", metavar="NAME", help="record that this translator has reviewed TAG today")
    locales.add_argument("--qualification", metavar="WORDS", help="the reviewer's qualification")
    locales.set_defaults(run=_locales)

    readability = commands.add_parser("readability", help="measure how hard the English guide of a case is to read")
    readability.add_argument("case", type=Path, metavar="CASE")
    readability.set_defaults(run=_readability)

    serve = commands.add_parser("serve", help="open the clinic's desk, or serve the pages behind the QR codes")
    serve.add_argument("--port", type=int, default=8020, metavar="NUMBER", help="default: 8020")
    serve.add_argument("--host", default="127.0.0.1", metavar="ADDRESS", help="default: this machine alone")
    serve.add_argument(
        "--origin",
        metavar="ADDRESS",
        help="the desk's address behind the clinic's own sign-in, such as https://desk.clinic.example",
    )
    serve.add_argument("--public", action="store_true", help="serve the public pages alone; no form takes a case")
    _keys(serve)
    serve.set_defaults(run=_serve)

    publish = commands.add_parser("publish", help="write the public pages as files for any web host")
    publish.add_argument("case", type=Path, nargs="+", metavar="CASE")
    publish.add_argument("folder", type=Path, metavar="FOLDER", help="what the web host serves at 'link_base'")
    publish.add_argument(
        "--language", default="en", metavar="TAG", help="of the bare address; each language has its own. Default: en"
    )
    _keys(publish)
    publish.set_defaults(run=_publish)

    keys = commands.add_parser("keys", help="show the fingerprints of the clinic's keys, to compare two machines")
    keys.add_argument("--new", action="store_true", help="put a new key on top, which signs from now on")
    _keys(keys)
    keys.set_defaults(run=_show_keys)

    schema = commands.add_parser("schema", help="print the JSON Schema of a case file")
    schema.set_defaults(run=_schema)
    return parser


def _language(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--language", default="en", metavar="TAG", help="default: en; see 'companion locales'")


def _keys(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--keys",
        type=Path,
        metavar="FILE",
        help="the clinic's key file; default: companion/link.keys in your settings, which is made on first use",
    )


def _loaded_keys(arguments: argparse.Namespace) -> "Keys":
    from companion.link.keys import clinic_key_file, load_keys

    return load_keys(clinic_key_file(arguments.keys))


def _check(arguments: argparse.Namespace) -> int:
    from companion.case import read_case

    read_case(arguments.case)
    print(f"{harmless(str(arguments.case))}: nothing is wrong or missing.")
    return 0


def _table(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case)
    made = plan(case)
    if arguments.format == "json":
        return _put(arguments.out, export.as_json_text(made, case).encode())
    if arguments.format == "csv":
        return _put(arguments.out, export.as_csv(made).encode())
    locale = Locale(arguments.language, case.clinic.region)
    if arguments.format == "text":
        return _put(arguments.out, export.as_text(made, locale).encode())
    from companion.guide.make import code_of, to_pdf
    from companion.guide.page import table_page

    page = table_page(case, made, locale, code_of(case, made, locale, _loaded_keys(arguments)))
    if arguments.format == "html":
        return _put(arguments.out, page.encode())
    if arguments.out is None:
        raise CompanionError("A PDF needs a file: add --out FILE.pdf.")
    return _put(arguments.out, to_pdf(page, case))


def _put(out: Path | None, data: bytes) -> int:
    from companion.files import write_whole

    if out is None:
        sys.stdout.buffer.write(data)
    else:
        write_whole(out, data)
        print(f"Wrote {out}")
    return 0


def _guide(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.files import write_set
    from companion.guide.make import make_set
    from companion.reckoning.plan import plan

    sheets = picked(arguments.only)
    case = read_case(arguments.case)
    made = plan(case)
    tags = [arguments.language] if arguments.language else case.patient.languages or ["en"]
    locales = [_locale(tag, arguments, case) for tag in tags]
    keys = _loaded_keys(arguments)
    folder = arguments.out or Path(arguments.case.stem)
    if case.clinic.link_base is None:
        print(
            "No 'link_base' is set for the clinic, so the code on the guide holds the short table itself.",
            file=sys.stderr,
        )
    files = dict(file for locale in locales for file in make_set(case, made, locale, keys, sheets))
    gone = write_set(folder, files.items(), is_sheet_file)
    for name in files:
        print(f"Wrote {folder / name}")
    for name in gone:
        print(f"Removed {folder / name}, of an older set")
    return 0


def _outing(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.language.locale import Locale
    from companion.reckoning.containers import LEVELS, level_name
    from companion.reckoning.outing import outing, portable_numbered, read_stretch
    from companion.reckoning.plan import plan

    case = read_case(arguments.case)
    made = plan(case)
    level = next(level for level in LEVELS if level_name(level) == arguments.level)
    found = outing(
        case,
        portable_numbered(made.stores, arguments.portable),
        level,
        [read_stretch(words) for words in arguments.stretch],
        made.margins,
    )
    if arguments.format == "json":
        print(export.outing_json_text(found), end="")
    else:
        print(export.outing_text(found, Locale(arguments.language, case.clinic.region)))
    return 0 if found.enough else 1


def _supply(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case)
    made = plan(case)
    if arguments.format == "json":
        return _put(arguments.out, export.supply_json_text(made, case).encode())
    if arguments.format == "text":
        return _put(arguments.out, export.supply_text(made, case).encode())
    from companion.export.ics import calendar_file

    return _put(arguments.out, calendar_file(case, made, Locale(arguments.language, case.clinic.region)))


def _batch(arguments: argparse.Namespace) -> int:
    import os

    from companion.batch.entries import entries
    from companion.batch.folders import REPORTS, WITHDRAWN
    from companion.batch.one import Job
    from companion.batch.progress import shown
    from companion.batch.run import run
    from companion.batch.stamp import made_with
    from companion.language.locale import settings
    from companion.link.keys import clinic_key_file, load_keys

    if arguments.changed_since is not None:
        return _recall(arguments)
    if arguments.source is None:
        raise CompanionError("Say which cases: a folder of case files, a .csv or a .jsonl file.")
    languages = tuple(arguments.language or ["en"])
    for tag in languages:
        settings(tag)
    key_file = clinic_key_file(arguments.keys)
    job = Job(arguments.out, key_file, languages, made_with(load_keys(key_file)))
    count = sum(1 for _ in entries(arguments.source))
    processes = arguments.processes or os.cpu_count() or 1
    with shown(count) as tell:
        outcome = run(arguments.source, job, min(processes, count) or 1, tell)
    counted = outcome.counted
    print(f"{counted['made']} made, {counted['kept']} left as they were, {counted['faulty']} with faults.")
    if outcome.withdrawn:
        print(f"Old guides whose case is gone or faulty, now in {arguments.out / WITHDRAWN}: do not hand them over.")
        for case_id in outcome.withdrawn:
            print(f"    {case_id}")
    if outcome.to_look_at:
        print(f"Folders in {arguments.out} that belong to no case; look at them by hand:", file=sys.stderr)
        for line in outcome.to_look_at:
            print(f"    {line}", file=sys.stderr)
    if counted["faulty"]:
        print(f"The faults: {arguments.out / REPORTS[1]}", file=sys.stderr)
    return 2 if counted["faulty"] or outcome.to_look_at else 0


def _fhir(arguments: argparse.Namespace) -> int:
    import tomli_w

    from companion.case.fhir import read_bundle

    raw, faults = read_bundle(arguments.bundle)
    _put(arguments.out, tomli_w.dumps(raw).encode())
    if not faults:
        return 0
    print(f"{arguments.bundle}: what it does not say, or cannot be used ({len(faults)}):", file=sys.stderr)
    for fault in faults:
        print(fault, file=sys.stderr)
    return 2


def _recheck(arguments: argparse.Namespace) -> int:
    import datetime as dt

    from companion.case import read_case
    from companion.link.keys import default_key_file, load_keys
    from companion.recheck.verdict import recheck

    keys = load_keys(arguments.keys or default_key_file())
    order = read_case(arguments.case) if arguments.case else None
    verdict = recheck(arguments.guide, keys, dt.date.today(), order)
    print(f"{arguments.guide}: {verdict.state}")
    for reason in verdict.reasons:
        print(f"    {reason}")
    if verdict.looked_at:
        print(verdict.looked_at)
    return {"same": 0, "stale": 1, "not ours": 2}[verdict.state]


def _recall(arguments: argparse.Namespace) -> int:
    from companion.batch.recall import recalls

    older = unknown = 0
    for guide in recalls(arguments.out, arguments.changed_since):
        if guide.program is None:
            unknown += 1
        else:
            older += 1
        print(harmless(f"{guide.place}, made by {guide.program or 'nobody knows which version'}"))
        for reason in guide.why:
            print(f"    {harmless(reason)}")
    print(f"{older} guides carry older figures.")
    if unknown:
        print(f"{unknown} more say nothing about their figures; look at them by hand.", file=sys.stderr)
    return 2 if unknown else 0


def _locale(tag: str, arguments: argparse.Namespace, case: "Case") -> "Locale":
    """Return a language, with a second one beside it where that was asked for."""
    from companion.language.locale import Bilingual, Locale, settings

    settings(tag)
    if arguments.beside is None:
        return Locale(tag, case.clinic.region)
    settings(arguments.beside)
    return Bilingual(tag, case.clinic.region, Locale(arguments.beside, case.clinic.region))


def _locales(arguments: argparse.Namespace) -> int:
    import datetime as dt

    from companion.editing import catalogues as catalogue
    from companion.language.locale import SOURCE, available, settings

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
        print(f"Wrote {catalogue.record_review(tag, arguments.reviewed_by, arguments.qualification, dt.date.today())}")
    for line in catalogue.work_left(tag):
        print(line)
    return 0


def _readability(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.editing.readability import measure
    from companion.guide.page import Code, guide_page
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case)
    figures = measure(guide_page(case, plan(case), Locale("en", case.clinic.region), Code("", None)))
    print(f"{'section':22} {'words':>6} {'grade':>6} {'grade*':>7} {'mean':>6} {'longest':>8}")
    for found in figures:
        print(
            f"{found.name:22} {found.words:6} {found.grade_as_is:6.1f} {found.grade:7.1f} "
            f"{found.mean_words:6.1f} {found.longest_words:8}"
        )
    print("grade: Flesch-Kincaid as is; grade*: without the words that must stay; mean and longest sentence in words")
    faults = [f"{found.name}: {fault}" for found in figures for fault in found.faults]
    if faults:
        raise CompanionError("\n".join(faults))
    return 0


def _serve(arguments: argparse.Namespace) -> int:
    from companion.link.keys import clinic_key_file, default_key_file
    from companion.web.serve import serve_desk, serve_public

    if arguments.public:
        # A new key would read no code that the clinic has printed: the desk's key file is copied here.
        serve_public(arguments.host, arguments.port, arguments.keys or default_key_file())
    else:
        serve_desk(arguments.host, arguments.port, clinic_key_file(arguments.keys), arguments.origin)
    return 0


def _publish(arguments: argparse.Namespace) -> int:
    import datetime as dt

    from companion.case import read_case
    from companion.web.publish import publish

    cases = [read_case(path) for path in arguments.case]
    keys = _loaded_keys(arguments)
    for address in publish(cases, arguments.folder, arguments.language, keys, dt.date.today()):
        print(f"Wrote {address}")
    return 0


def _show_keys(arguments: argparse.Namespace) -> int:
    from companion.link.keys import add_key, default_key_file, load_keys

    path = arguments.keys or default_key_file()
    keys = add_key(path) if arguments.new else load_keys(path)
    print(f"{path}:")
    for place, fingerprint in enumerate(keys.fingerprints()):
        print(f"    {fingerprint}  {'is still read' if place else 'signs'}")
    return 0


def _schema(_: argparse.Namespace) -> int:
    import json

    from companion.case.model import json_schema

    print(json.dumps(json_schema(), indent=2))
    return 0
