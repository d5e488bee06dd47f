"""Makes the files of a guide: which sheets there are, and from each its page and its PDF."""

from collections.abc import Iterable, Iterator, Sequence

from companion.case.model import Case
from companion.guide.code import Code, table_text
from companion.guide.document import Document, Sheet
from companion.guide.sheet_names import SHEETS
from companion.guide.sheets import document
from companion.language.locale import Bilingual, Locale
from companion.link.carried import carried
from companion.link.code import address
from companion.link.keys import Keys
from companion.reckoning.plan import Plan
from companion.render.html import html
from companion.render.pdf import pdf
from companion.render.same_pages import same_pages
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

    The guide is plain text as well, for a screen reader, a braille display, an e-mail.
    """
    code = code_of(case, made, locale, keys)
    for sheet in sheets:
        if sheet != "text":
            yield from _files(document(sheet, case, made, locale, code), locale, case)
        if sheet in ("guide", "text"):
            yield f"guide.{locale.tag}.txt", text(document("text", case, made, locale, code)).encode()


def make_family_set(
    case: Case, made: Plan, locales: Sequence[Locale], keys: Keys, sheets: Sequence[Sheet] = SHEETS
) -> Iterator[tuple[str, bytes]]:
    """Yield the files of a set for a family that reads one language or several.

    Of several, each has a guide of its own, and page 14 is page 14 in all. What hangs, is carried or is written on has
    the first two languages together, so that both who lives there and who helps can read it; so have the pages to live
    by alone.
    """
    first, *others = locales
    if not others:
        yield from make_set(case, made, first, keys, sheets)
        return
    both = Bilingual(first.tag, first.region, others[0])
    for sheet in sheets:
        if sheet == "guide":
            yield from _guides(case, made, locales, keys)
        elif sheet in ("clinician", "text"):
            for locale in locales:
                yield from make_set(case, made, locale, keys, [sheet])
        else:
            yield from make_set(case, made, both, keys, [sheet])


def _guides(case: Case, made: Plan, locales: Sequence[Locale], keys: Keys) -> Iterator[tuple[str, bytes]]:
    guides = [document("guide", case, made, locale, code_of(case, made, locale, keys)) for locale in locales]
    for locale, page in zip(locales, same_pages(guides), strict=True):
        yield from _files(page, locale, case)
        yield from make_set(case, made, locale, keys, ["text"])


def _files(page: Document, locale: Locale, case: Case) -> Iterator[tuple[str, bytes]]:
    yield f"{page.sheet}.{locale.tag}.html", html(page).encode()
    yield f"{page.sheet}.{locale.tag}.pdf", pdf(page, case.issued)
