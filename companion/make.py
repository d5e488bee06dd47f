"""Makes the files of a guide: which sheets there are, and from each its page and its PDF."""

from collections.abc import Iterable, Iterator

from companion.case.model import Case
from companion.guide.code import Code, table_text
from companion.guide.document import Sheet
from companion.guide.sheet_names import SHEETS
from companion.guide.sheets import document
from companion.language.locale import Locale
from companion.link.carried import carried
from companion.link.code import address
from companion.link.keys import Keys
from companion.reckoning.plan import Plan
from companion.render.html import html
from companion.render.pdf import pdf
from companion.render.text import text


def code_of(case: Case, made: Plan, locale: Locale, keys: Keys) -> Code:
    """Return what the QR code holds: the signed address, or without a server the short table itself.

    Behind the address stands the stamp of the figures, which never leaves the phone.

    Raises:
        LinkError: the page behind the code would show other figures than the paper.
    """
    base = case.clinic.link_base
    carries = carried(case, made, keys)
    if base is None:
        return Code(table_text(made, locale.languages[0]), None, carries.code, carries.figures)
    return Code(f"{address(base, carries.code)}#{carries.stamp}", base, carries.code, carries.figures)


def make_set(
    case: Case, made: Plan, locale: Locale, keys: Keys, sheets: Iterable[Sheet] = SHEETS
) -> Iterator[tuple[str, bytes]]:
    """Yield the name and content of each file: of every sheet of the set, or of those that were picked.

    The guide is plain text as well, for a screen reader, an e-mail, a terminal.
    """
    code = code_of(case, made, locale, keys)
    for sheet in sheets:
        page = document(sheet, case, made, locale, code)
        yield f"{sheet}.{locale.tag}.html", html(page).encode()
        yield f"{sheet}.{locale.tag}.pdf", pdf(page, case.issued)
        if sheet == "guide":
            yield f"{sheet}.{locale.tag}.txt", text(page).encode()
