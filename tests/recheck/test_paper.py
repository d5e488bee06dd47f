"""What is read of a file from anywhere: the formats that are named, within bounds, and never more than a sentence."""

import contextlib
import io
import os
import re
import shutil
import subprocess
import sys
import time
import zlib
from pathlib import Path

import pytest
from PIL import Image

from companion.cli import main
from companion.recheck import paper
from companion.recheck.apart import read_apart
from companion.recheck.paper import LARGEST_FILE, LARGEST_PAGE, RecheckError, read_paper
from tests.tools import key_file


def picture(kind: str, size: tuple[int, int] = (40, 40)) -> bytes:
    """Return an empty picture of a format."""
    out = io.BytesIO()
    Image.new("RGB", size, "white").save(out, kind)
    return out.getvalue()


def pdf(pages: int = 1, box: str = "0 0 595 842", info: str = "", content: bytes = b"") -> bytes:
    """Return a PDF with empty pages, written by hand so that it can be as odd as one likes."""
    kids = " ".join(f"{number} 0 R" for number in range(5, 5 + pages))
    stream = zlib.compress(content, 9)
    parts = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        f"<</Type/Pages/Count {pages}/Kids[{kids}]>>".encode(),
        f"<<{info}>>".encode(),
        f"<</Length {len(stream)}/Filter/FlateDecode>>stream\n".encode() + stream + b"\nendstream",
        *[f"<</Type/Page/Parent 2 0 R/MediaBox[{box}]/Contents 4 0 R>>".encode()] * pages,
    ]
    body = b"".join(b"%d 0 obj%s endobj\n" % (number, part) for number, part in enumerate(parts, start=1))
    return b"%PDF-1.4\n" + body + b"trailer<</Root 1 0 R/Info 3 0 R/Size %d>>\n%%%%EOF" % (len(parts) + 1)


POSTSCRIPT = (
    b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 100 100\n%%EndComments\n"
    b"/f (WRITTEN) (w) file def f (hi) writestring f closefile\nshowpage\n%%EOF\n"
)


def assert_harmless(path: Path) -> None:
    """Make sure that a file says nothing, or is refused in a sentence that names it."""
    with contextlib.suppress(RecheckError):
        assert not read_apart(path, seconds=5).code
        return
    with pytest.raises(RecheckError, match=re.escape(str(path))):
        read_apart(path, seconds=5)


# ── only what is named ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_a_picture_without_a_code_says_nothing(tmp_path: Path, kind: str) -> None:
    (tmp_path / "photo").write_bytes(picture(kind))
    assert read_apart(tmp_path / "photo") == paper.Paper()


@pytest.mark.parametrize("kind", ["BMP", "GIF", "ICO", "PPM", "TGA", "PCX", "EPS", "PDF", "SGI", "JPEG2000", "DDS"])
def test_other_pictures_are_not_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(picture(kind))
    if kind == "PDF":
        path.write_bytes(b"\n" + path.read_bytes())  # Pillow would look for a PDF further on
    with pytest.raises(RecheckError, match="JPEG, PNG, WEBP, TIFF"):
        read_apart(path)


def test_a_photograph_runs_no_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("photo.jpg", "photo.eps", "photo.png"):
        (tmp_path / name).write_bytes(POSTSCRIPT.replace(b"WRITTEN", str(tmp_path / "written").encode()))
    monkeypatch.chdir(tmp_path)
    for name in ("photo.jpg", "photo.eps", "photo.png"):
        with pytest.raises(RecheckError):
            read_apart(tmp_path / name)
    assert not (tmp_path / "written").exists()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"words",
        b"%PDF-1.7 cut off",
        b"\x89PNG\r\n\x1a\n cut off",
        b"\xff\xd8\xff\xe0 cut off",
        b"RIFF\x00\x00\x00\x00WEBP cut off",
        b"II*\x00\xff\xff\xff\xff",
        b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj 2 0 obj<</Type/Pages/Count 1/Kids[2 0 R]>>endobj\n"
        b"trailer<</Root 1 0 R>>",
    ],
)
def test_a_broken_file_is_refused_or_says_nothing(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "file").write_bytes(data)
    assert_harmless(tmp_path / "file")


# ── within bounds ───────────────────────────────────────────────────────────────────────────────


def bomb(name: str) -> bytes:
    """Return a small file that wants to become a large one."""
    if name == "many pixels":
        size = (20000).to_bytes(4, "big") + (10001).to_bytes(4, "big")
        head = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", size + b"\x08\x00\x00\x00\x00")
        return head + chunk(b"IDAT", b"") + chunk(b"IEND", b"")
    if name == "large page":
        return pdf(box="0 0 14400 14400")
    if name == "huge page":
        return pdf(box="0 0 1000000000 1000000000")
    if name == "many pages":
        return pdf(pages=20_000)
    if name == "keywords":
        return pdf(info=f"/Keywords({'companion-a ' * 40_000}\\nx)")
    if name == "many words":
        return pdf(content=b"BT /F1 9 Tf " + b"(4 hours 10 minutes) Tj " * 2_000_000 + b"ET")
    assert name == "long page"
    return b"<!DOCTYPE html>" + b"<p>4 hours" * (LARGEST_PAGE // 8)


def chunk(name: bytes, data: bytes) -> bytes:
    """Return one part of a PNG."""
    return len(data).to_bytes(4, "big") + name + data + zlib.crc32(name + data).to_bytes(4, "big")


BOMBS = ["many pixels", "large page", "huge page", "many pages", "keywords", "many words", "long page"]


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_takes_little_time_and_memory(tmp_path: Path, name: str) -> None:
    path = tmp_path / "bomb"
    path.write_bytes(bomb(name))
    assert path.stat().st_size < 6_000_000
    start = time.monotonic()
    assert_harmless(path)
    assert time.monotonic() - start < 30


def test_a_reader_that_does_not_end_is_ended(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(b"<html>")
    with pytest.raises(RecheckError, match="not read within 0 seconds"):
        read_apart(path, seconds=0)


def test_a_pipe_that_nobody_writes_to_is_no_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path, Path("/dev/zero")):
        with pytest.raises(RecheckError):
            read_apart(path)


def test_a_file_of_many_gigabytes_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "large"
    with path.open("wb") as file:
        file.truncate(8 * 1024**3)
    with pytest.raises(RecheckError, match=f"at most {LARGEST_FILE >> 20} MB"):
        read_apart(path)


# ── the command ─────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", ["many pixels", "huge page", "none", "postscript"])
def test_the_command_ends_with_a_sentence(tmp_path: Path, name: str) -> None:
    path, keys = tmp_path / "photo.jpg", key_file(tmp_path / "link.keys")
    if name == "postscript":
        path.write_bytes(POSTSCRIPT)
    elif name != "none":
        path.write_bytes(bomb(name))
    command = [sys.executable, "-m", "companion", "recheck", str(path), "--keys", str(keys)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (ended.returncode, "Traceback" in ended.stderr) == (2, False), ended.stderr
    assert str(path) in ended.stderr + ended.stdout


def test_a_stray_module_beside_the_photo_is_not_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Somebody checks a file in the folder of his downloads.
    shutil.copyfile(key_file(tmp_path / "link.keys"), tmp_path / "photo.png")
    for name in ("PIL", "zxingcpp", "pypdfium2"):
        (tmp_path / f"{name}.py").write_text("open('run', 'w')", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["recheck", "photo.png", "--keys", "link.keys"]) == 2
    assert not (tmp_path / "run").exists()


# ── the words ───────────────────────────────────────────────────────────────────────────────────


def test_words_that_are_not_seen_are_not_read(tmp_path: Path) -> None:
    page = (
        "<!DOCTYPE html><html><head><title>1 hour</title><style>p::after{content:'2 hours'}</style>"
        '<meta name="companion-code" content="ABC"/><meta name="companion-code" content="DEF"/></head>'
        "<body><svg><text>3 hours</text><path/></svg><script>4 hours</script><p>5<b> hours</b></p></body></html>"
    )
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    read = read_paper(tmp_path / "page.html")
    assert read.text.split() == ["5", "hours"]
    assert read.hidden == {"code": "ABC"}
