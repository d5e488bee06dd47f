"""The public pages as files, at the same addresses, for any web host that serves a folder.

A folder stands for each address and holds its page as ``index.html``. So does each folder above it: a host that
lists what lies in a folder without a page would show every code, and each code tells a patient's whole order.
The printed address without its code answers too, unless the folder has a page of its own there.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path

from markupsafe import Markup

from companion.case.model import Case
from companion.files import write_whole
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link import code as link
from companion.link.keys import Keys
from companion.reckoning.plan import Plan, plan
from companion.web.pages import Place, deliveries, full_guide, manifest, table_page
from companion.web.public import DELIVERIES, ICON, MANIFEST, SCRIPTS, icon_file, script_file, start_page, unreadable
from companion.web.security import policy


def publish(cases: Sequence[Case], folder: Path, language: str, keys: Keys, today: dt.date) -> Iterator[str]:
    """Write the pages of some cases, and yield the address of each below the folder.

    Args:
        language: of the bare address; beside it each language has its own.
        today: for the notice that a review date has passed; the phone's clock sees to later days.

    Raises:
        SettingError: there is no such language, or the folder cannot be written to.
    """
    for name in SCRIPTS:
        write_whole(folder / "t" / name, script_file(name))
    write_whole(folder / "t" / ICON, icon_file())
    start = _guarded(start_page(language).body.decode())
    write_whole(folder / "t" / "index.html", start)
    if not (folder / "index.html").exists():
        write_whole(folder / "index.html", start)
    no_list = _guarded(unreadable(language).body.decode())
    for case in cases:
        # The same case as a server reads it from the code: without anything personal.
        code = link.encode(case, keys)
        read = link.decode(code, keys)
        made = plan(read)
        for cut_off in list((folder / "t" / link.in_parts(code)).parents)[: link.in_parts(code).count("/")]:
            write_whole(cut_off / "index.html", no_list)
        yield _write(folder, link.in_parts(code), "", Locale(language, read.clinic.region), read, made, today)
        for tag in available():
            _write(folder, link.in_parts(code), f"/{tag}", Locale(tag, read.clinic.region), read, made, today)


def _write(folder: Path, code: str, suffix: str, locale: Locale, case: Case, made: Plan, today: dt.date) -> str:
    """Write the table and the guide of one language."""
    address = f"t/{code}{suffix}"
    # A host sends the reader of a folder to its name with a slash, so the page stands one step deeper.
    place = Place(code, "../" * (code + suffix + "/").count("/"))
    out_of_date = today > case.prescription.review_date
    table = table_page(case, made, locale, place, out_of_date=out_of_date)
    write_whole(folder / address / "index.html", _guarded(table))
    guide = full_guide(case, made, locale, Place(code, f"{place.up}../"), out_of_date=out_of_date)
    write_whole(folder / address / "guide" / "index.html", _guarded(guide))
    write_whole(folder / address / MANIFEST, manifest(locale, place).encode())
    write_whole(folder / address / DELIVERIES, deliveries(case, made, locale))
    return address


def _guarded(page: str) -> bytes:
    """Write into the page the policy that a server of ours would send beside it."""
    head = Markup('<meta charset="utf-8"/>\n<meta http-equiv="Content-Security-Policy" content="{}"/>')
    return page.replace('<meta charset="utf-8"/>', head.format(policy(page)), 1).encode()
