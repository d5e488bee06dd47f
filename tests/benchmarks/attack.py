"""Attacks what is read from outside, and counts what came of it: ``python -m tests.benchmarks.attack``.

Codes that were changed, cut, spliced or signed with another key must all be refused; pictures, PDFs and pages that
were spoilt must end in a sentence, never in an error of the program and never as a guide of this clinic.
"""

import argparse
import datetime as dt
import io
import multiprocessing
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import qrcode
from PIL import Image

from companion.errors import LinkError
from companion.language.locale import Locale
from companion.link.code import address, decode, encode
from companion.link.keys import Keys
from companion.make import make_set
from companion.recheck import apart
from companion.recheck.verdict import recheck
from companion.reckoning.plan import plan
from tests.cases import a_case
from tests.tools import key_file

KEYS, OTHER = Keys((b"\1" * 32,)), Keys((b"\2" * 32,))
CASE = a_case({"clinic.link_base": "https://oxygen.harbour-lane.example"})
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
ODD = "abc019=/ \n\u0410\uff21\u202e\x00"


def main() -> None:
    """Attack, and print what came of it; the exit code is 1 where anything got through."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks.attack")
    words.add_argument("--codes", type=int, default=1_000_000, metavar="N")
    words.add_argument("--files", type=int, default=5_000, metavar="N", help="pictures, PDFs and pages that are read")
    words.add_argument("--checked", type=int, default=100, metavar="N", help="of them given to the command")
    words.add_argument("--seed", type=int, default=1)
    told = words.parse_args()
    dice = random.Random(told.seed)  # noqa: S311
    wrong = _codes(dice, told.codes) + _files(dice, told.files, told.checked)
    sys.exit(1 if wrong else 0)


# ── codes ───────────────────────────────────────────────────────────────────────────────────────


def _codes(dice: random.Random, count: int) -> int:
    right = encode(CASE, KEYS)
    others = [encode(a_case({"prescription.rest.flow": f"{flow} L/min"}), KEYS) for flow in (1, 3, 4)]
    foreign = encode(CASE, OTHER)

    def changed() -> str:
        code = list(right)
        for _ in range(dice.randint(1, 4)):
            code[dice.randrange(len(code))] = dice.choice(LETTERS)
        return "".join(code)

    def spliced() -> str:
        place = dice.randrange(1, len(right))
        return right[:place] + dice.choice([*others, foreign])[place:]

    def cut() -> str:
        start = dice.randrange(len(right))
        return right[start : start + dice.randrange(len(right))]

    def longer() -> str:
        place = dice.randrange(len(right) + 1)
        return right[:place] + "".join(dice.choices(LETTERS + ODD, k=dice.randint(1, 8))) + right[place:]

    def odd() -> str:
        place = dice.randrange(len(right))
        return right[:place] + dice.choice(ODD) + right[place + 1 :]

    def signed_by_another() -> str:
        return foreign[:4] + dice.choice(LETTERS) + foreign[5:] if dice.random() < 0.5 else foreign

    kinds: list[Callable[[], str]] = [changed, spliced, cut, longer, odd, signed_by_another]
    ended: Counter[str] = Counter()
    start = time.monotonic()
    for number in range(count):
        code = kinds[number % len(kinds)]()
        if code in (right, *others):
            ended["changed into a code of ours, so left out"] += 1
            continue
        try:
            decode(code, KEYS)
            ended["ACCEPTED"] += 1
        except LinkError:
            ended["refused"] += 1
        except Exception as error:
            ended[f"ERROR {type(error).__name__}"] += 1
    print(f"{count} codes in {time.monotonic() - start:.0f} s: {dict(ended)}")
    return sum(number for name, number in ended.items() if name.isupper() or name.startswith("ERROR"))


# ── files ───────────────────────────────────────────────────────────────────────────────────────


def _good_files() -> dict[str, bytes]:
    """Return files that are read, one of each kind and then some."""
    files = dict(make_set(CASE, plan(CASE), Locale("en", "US"), KEYS, ["wallet", "fridge"]))
    files = {name.replace(".en", ""): data for name, data in files.items()}
    picture = qrcode.make(address("https://oxygen.harbour-lane.example", encode(CASE, KEYS))).get_image().convert("RGB")
    for kind in ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF"):
        out = io.BytesIO()
        picture.save(out, kind)
        files[f"photo.{kind.lower()}"] = out.getvalue()
    for how in ("tiff_lzw", "tiff_jpeg", "tiff_adobe_deflate", "group4"):
        out = io.BytesIO()
        (picture.convert("1") if how == "group4" else picture).save(out, "TIFF", compression=how)
        files[f"photo.{how}"] = out.getvalue()
    small = io.BytesIO()
    Image.new("L", (30, 30), 255).save(small, "PNG")
    files["small.png"] = small.getvalue()
    return files


def _spoilt(data: bytes, dice: random.Random) -> bytes:
    spoilt = bytearray(data)
    # Heads and tails hold sizes and tables: half of the changes fall there.
    for _ in range(dice.choice([1, 2, 5, 20, 100])):
        place = dice.randrange(min(len(spoilt), 512)) if dice.random() < 0.5 else dice.randrange(len(spoilt))
        way = dice.random()
        if way < 0.6:
            spoilt[place] = dice.choice([0, 1, 127, 128, 255, dice.randrange(256)])
        elif way < 0.8:
            spoilt[place : place + dice.randint(1, 8)] = dice.randbytes(dice.randint(0, 8))
        elif way < 0.95:
            start = dice.randrange(len(spoilt))
            spoilt[place:place] = spoilt[start : start + dice.randint(1, 64)]
        else:
            del spoilt[max(64, place) :]
    return bytes(spoilt)


def _read_all(paths: list[Path], answers: "multiprocessing.connection.Connection") -> None:
    """Read files one after another as the process of ``read_apart`` reads one, under the same bounds."""
    apart.bound()
    for path in paths:
        answers.send(apart.answer(path))


def _files(dice: random.Random, count: int, checked: int) -> int:
    good = _good_files()
    ended: Counter[str] = Counter()
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        keys = key_file(Path(folder) / "link.keys", KEYS.signing().hex())
        paths = []
        for number in range(count):
            name = list(good)[number % len(good)]
            path = Path(folder) / f"{number}-{name}"
            path.write_bytes(_spoilt(good[name], dice))
            paths.append(path)
        for number, (path, answer) in enumerate(_answers(paths), start=1):
            if answer is None:
                ended["the reader's process ended, which is told in a sentence"] += 1
            elif "fault" in answer:
                ended["refused in a sentence"] += 1
            else:
                ended["read"] += 1
                if "code" in answer["hidden"] or answer["code"]:
                    ended["of them with a code that can be read"] += 1
            assert path.exists()
            if number % 500 == 0:
                print(f"{number} files: {dict(ended)}", flush=True)
        print(f"{count} files in {time.monotonic() - start:.0f} s: {dict(ended)}")
        return _through_the_command(dice.sample(paths, min(checked, count)), keys)


def _answers(paths: list[Path]) -> Iterator[tuple[Path, dict[str, Any] | None]]:
    """Yield what was read of each file; None where the process ended or took too long."""
    fresh = multiprocessing.get_context("spawn")
    left = paths
    while left:
        mine, theirs = fresh.Pipe(duplex=False)
        process = fresh.Process(target=_read_all, args=(left[:500], theirs), daemon=True)
        process.start()
        theirs.close()
        for path in left[:500]:
            try:
                answer = mine.recv() if mine.poll(apart.SECONDS) else None
            except EOFError:
                answer = None
            left = left[1:]
            yield path, answer
            if answer is None:
                break
        process.kill()
        process.join()


def _through_the_command(paths: list[Path], keys: Path) -> int:
    ended: Counter[str] = Counter()
    today = dt.date.today()
    for path in paths:
        command = [sys.executable, "-m", "companion", "recheck", str(path), "--keys", str(keys)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if "Traceback" in done.stderr or done.returncode not in (0, 1, 2):
            ended["TRACEBACK"] += 1
        elif done.returncode == 2:
            ended["2, with a sentence"] += 1
        else:
            state = recheck(path, Keys((KEYS.signing(),)), today).state
            ended[f"{done.returncode}, {state}"] += 1
    print(f"{len(paths)} of them given to the command: {dict(ended)}")
    return ended["TRACEBACK"]


if __name__ == "__main__":
    main()
