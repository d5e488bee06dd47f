"""The public pages as files: the same addresses, and every link leads to a file."""

import datetime as dt
import posixpath
from pathlib import Path

import pytest

from companion.cli import main
from companion.language.catalogue import available
from companion.link import code as link
from companion.web.publish import publish
from tests.cases import PERSONAL, a_case
from tests.conftest import WriteCase
from tests.tools import key_file
from tests.visit import KEYS, TODAY, XHTML, address, by_id, get, public_app, tree, words

CASE = a_case({"clinic.name": "Harbour Lane Breathing Clinic and Home Oxygen Service"})


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    list(publish([CASE], folder, "es", KEYS, TODAY))
    return folder


def page(site: Path, path: str) -> str:
    return (site / path.strip("/") / "index.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("rest", ["", *(f"/{tag}" for tag in available())])
def test_a_file_stands_at_every_address_that_is_served(site: Path, rest: str) -> None:
    served = get(public_app(), address(CASE, rest), {"accept-language": "es"}).text
    published = page(site, address(CASE, rest))
    assert words(by_id(tree(published), "times")) == words(by_id(tree(served), "times"))
    assert words(tree(page(site, address(CASE, f"{rest}/guide")))) == words(
        tree(get(public_app(), address(CASE, f"{rest}/guide"), {"accept-language": "es"}).text)
    )


def test_what_is_published_too_late_says_so(tmp_path: Path) -> None:
    late = CASE.prescription.review_date + dt.timedelta(days=1)
    list(publish([CASE], tmp_path, "en", KEYS, late))
    for rest in ("", "/guide", "/es/guide"):
        assert by_id(tree(page(tmp_path, address(CASE, rest))), "out-of-date").get("hidden") is None


def test_every_link_leads_to_a_file(site: Path) -> None:
    for file in site.rglob("index.html"):
        # A host shows the page of a folder at the folder's name with a slash.
        here = f"/{file.parent.relative_to(site)}/"
        for part in tree(file.read_text(encoding="utf-8")).iter():
            for name in ("href", "src", "data-keep"):
                target = (part.get(name) or "#").partition("#")[0]
                for one in target.split():
                    found = site / posixpath.normpath(posixpath.join(here, one)).lstrip("/")
                    assert one.startswith("tel:") or found.is_file() or (found / "index.html").is_file(), (here, one)


def test_no_folder_is_left_for_the_host_to_list(site: Path) -> None:
    without = [
        folder for folder in (site / "t").rglob("*") if folder.is_dir() and not (folder / "index.html").is_file()
    ]
    assert (without, (site / "t" / "index.html").is_file()) == ([], True)
    code = link.in_parts(link.encode(CASE, KEYS))
    assert "/" in code
    for cut_off in ("t", f"t/{code.partition('/')[0]}"):
        told = page(site, cut_off)
        assert tree(told).get("lang") == "es"
        assert not [part for part in code.split("/") if part in told]


def test_every_name_fits_a_file_system(site: Path) -> None:
    # 255 bytes: the limit of ext4, XFS, NTFS and APFS.
    assert len(link.encode(CASE, KEYS)) > 255
    assert max(len(file.name) for file in site.rglob("*")) <= 255


def test_each_page_carries_its_policy(site: Path) -> None:
    for file in site.rglob("index.html"):
        head = file.read_text(encoding="utf-8").partition("<style>")[0]
        assert 'http-equiv="Content-Security-Policy" content="default-src &#39;none&#39;' in head


def test_nothing_personal_and_no_form_that_needs_a_server(site: Path) -> None:
    for file in site.rglob("index.html"):
        text = file.read_text(encoding="utf-8")
        assert not [name for name in PERSONAL if name in text]
        if "<form" in text:
            look_up = next(
                part for part in tree(text).iter(f"{XHTML}section") if part.find(f".//{XHTML}form") is not None
            )
            assert look_up.get("hidden") is not None  # until the script can answer it


def test_the_printed_address_answers_unless_the_host_has_a_page_there(site: Path, tmp_path: Path) -> None:
    assert page(site, "/") == page(site, "/t") != ""
    (tmp_path / "index.html").write_text("the clinic's own", encoding="utf-8")
    list(publish([CASE], tmp_path, "en", KEYS, TODAY))
    assert page(tmp_path, "/") == "the clinic's own"


def test_the_command(write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keys = key_file(tmp_path / "link.keys")
    case = write_case()
    assert main(["publish", str(case), str(tmp_path / "site"), "--language", "fr", "--keys", str(keys)]) == 0
    told = capsys.readouterr().out.split()[1]
    assert tree(page(tmp_path / "site", told)).get("lang") == "fr"
