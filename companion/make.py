"""Makes the files of a guide: which sheets there are, and from each its page and its PDF."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from companion.case.model import Case
from companion.guide.code import Code, table_text
from companion.guide.document import Sheet
from companion.guide.sheets import SHEETS, document
from companion.language.locale import Locale
from companion.link import code as link
from companion.reckoning.figures import figures, stamp
from companion.reckoning.plan import Plan
from companion.render.html import html
from companion.render.pdf import pdf


def code_of(case: Case, made: Plan, locale: Locale, key_file: Path | None) -> Code:
    """Return what the QR code holds: the signed address, or without a server the short table itself.

    Behind the address stands the stamp of the figures, which never leaves the phone. The clinic's key file is
    made on first use.
    """
    base = case.clinic.link_base
    signed = link.encode(case, link.load_keys(key_file or link.default_key_file(), make=True))
    if base is None:
        return Code(table_text(made, locale.languages[0]), None, signed)
    return Code(f"{link.address(base, signed)}#{stamp(figures(case, made))}", base, signed)


def make_set(
    case: Case, made: Plan, locale: Locale, key_file: Path | None, sheets: Iterable[Sheet] = SHEETS
) -> Iterator[tuple[str, bytes]]:
    """Yield the name and content of each file: of every sheet of the set, or of those that were picked."""
    code = code_of(case, made, locale, key_file)
    for sheet in sheets:
        page = document(sheet, case, made, locale, code)
        yield f"{sheet}.{locale.tag}.html", html(page).encode()
        yield f"{sheet}.{locale.tag}.pdf", pdf(page, case.issued)
