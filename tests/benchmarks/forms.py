"""Sends many thousand forms to the desk, changed at random, and counts the answers: no 500, no line in the log.

python -m tests.benchmarks.forms --count 10000
"""

import argparse
import asyncio
import logging
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import httpx

from companion.web import form
from tests.cases import PULSE, case_dict
from tests.visit import ACCESS, desk_app

_BASES = [form.entries_of(case_dict()), form.entries_of(case_dict(PULSE)), {}]
_DEEDS = ["check", "save", "add:portable", "remove:portable[1]", "fill:cylinder[1]", "keep:portable[1]", "keep:x", ""]
_TEXTS = [
    *("", " ", "0", "-1", "NaN", "1e999999", "9" * 300, "2 L/min", "2 " + "L" * 5000, "26 g/h" + " " * 5000 + "x"),
    *("2027-02-30", "0001-01-01", "true", "\u202e", "\x00", "\ud7ff", "\U0001f600", "<script>", "{{ 7*7 }}", "#x $y$"),
]
_CHARSETS = ["utf-8", "punycode", "undefined", "utf-7", "unicode_escape", "idna", "hex", "utf-16", "none-such", ""]
_FILES = [b"", b"= 1", b"\xff", b"a = " + b"[" * 2000, b"[[portable]]\n" * 9, b".".join([b"a"] * 500) + b" = 1"]


def _entries(chance: random.Random) -> dict[str, list[str]]:
    entries = {name: list(texts) for name, texts in chance.choice(_BASES).items()}
    for _ in range(chance.randrange(6)):
        name = chance.choice([*_BASES[0], "conserver.bolus[1].dose", "portable[9].x", "portable[1].size", "x" * 200])
        text = chance.choice(_TEXTS) if chance.random() < 0.7 else "".join(chance.choices("0123 .,Lmin/°é\u0300", k=9))
        entries[name] = [text] * chance.randrange(1, 3)
    return {**entries, "do": [chance.choice(_DEEDS)], "token": [ACCESS.token] if chance.random() < 0.95 else ["x"]}


def _multipart(entries: dict[str, list[str]], chance: random.Random) -> bytes:
    parts = [
        f'--x\r\ncontent-disposition: form-data; name="{name}"\r\n\r\n{text}\r\n'.encode()
        for name, texts in entries.items()
        for text in texts
    ]
    head = b'--x\r\ncontent-disposition: form-data; name="file"; filename="case.toml"\r\n\r\n'
    body = b"".join([*parts, head, chance.choice(_FILES), b"\r\n--x--\r\n"])
    if chance.random() < 0.5:
        place = chance.randrange(len(body))
        body = body[:place] + chance.randbytes(chance.randrange(4)) + body[place + chance.randrange(4) :]
    return body


async def _sent(client: httpx.AsyncClient, chance: random.Random) -> int:
    entries = _entries(chance)
    path = chance.choice(["/", "/", "/preview", "/open"])
    if chance.random() < 0.6:
        reply = await client.post(path, data=entries)
    else:
        kind = f"multipart/form-data; boundary=x; charset={chance.choice(_CHARSETS)}"
        if chance.random() < 0.5:
            kind = "multipart/form-data; boundary=x"
        reply = await client.post(path, content=_multipart(entries, chance), headers={"content-type": kind})
    return reply.status_code


async def _run(count: int, seed: int) -> tuple[Counter[int], float, list[str]]:
    lines: list[str] = []
    catcher = logging.Handler()
    catcher.emit = lambda record: lines.append(record.getMessage())  # type: ignore[method-assign]
    logging.getLogger().addHandler(catcher)
    logging.getLogger("httpx").setLevel(logging.WARNING)
    chance = random.Random(seed)  # noqa: S311  (no secret)
    answers: Counter[int] = Counter()
    slowest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        transport = httpx.ASGITransport(app=desk_app(Path(folder)), raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8020") as client:
            for number in range(1, count + 1):
                start = time.perf_counter()
                answers[await _sent(client, chance)] += 1
                slowest = max(slowest, time.perf_counter() - start)
                if number % 500 == 0:
                    print(f"{number} sent; {_told(answers)}; lines in the log: {len(lines)}", flush=True)
    return answers, slowest, lines


def _told(answers: Counter[int]) -> str:
    return ", ".join(f"{status}: {count}" for status, count in sorted(answers.items()))


def main() -> int:
    """Print how often each status was answered; return 1 where one was a fault of ours."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks.forms")
    words.add_argument("--count", type=int, default=10_000, metavar="N", help="forms; default: 10000")
    words.add_argument("--seed", type=int, default=1, metavar="N", help="another one sends other forms; default: 1")
    asked = words.parse_args()
    answers, slowest, lines = asyncio.run(_run(asked.count, asked.seed))
    print(_told(answers))
    print(f"slowest: {slowest:.2f} s; lines in the log: {len(lines)}", *sorted(set(lines))[:5], sep="\n")
    return 1 if any(status >= 500 for status in answers) or lines else 0


if __name__ == "__main__":
    sys.exit(main())
