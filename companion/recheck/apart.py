"""Reads a file in a process of its own, which may use so much memory and time and can be ended from outside.

A file from anywhere meets decoders written in C. Whatever it does to them, the caller gets a ``Paper`` or an error
with a sentence.
"""

import json
import multiprocessing
import os
import resource
import sys
import warnings
from dataclasses import asdict
from multiprocessing.connection import Connection
from pathlib import Path

from companion.errors import CompanionError, SettingError
from companion.recheck.paper import LARGEST_PAGE, Paper, RecheckError, read_paper

SECONDS = 60
"""For a scanned guide every page is drawn until its code is found: half of this for a hundred pages."""

MEMORY = 2 * 1024**3
"""Bytes of address space. A photo of 100 million pixels takes 0.6 GB."""

_LARGEST_ANSWER = 4 * LARGEST_PAGE


def read_apart(path: Path, seconds: float = SECONDS) -> Paper:
    """Read a file as ``read_paper`` does, in a process of its own.

    Raises:
        RecheckError: it cannot be read, or reading it took too much memory or time.
        SettingError: a package that is needed is not installed.
    """
    fresh = multiprocessing.get_context("spawn")
    answers, sender = fresh.Pipe(duplex=False)
    process = fresh.Process(target=_read, args=(str(path), sender), daemon=True)
    process.start()
    sender.close()
    try:
        if not answers.poll(seconds):
            raise RecheckError(f"{path} was not read within {seconds:g} seconds; no guide and no photo takes so long.")
        read = json.loads(answers.recv_bytes(_LARGEST_ANSWER))
    except (EOFError, OSError) as error:
        raise RecheckError(f"{path} cannot be read: the reader of its format failed.") from error
    finally:
        process.kill()
        process.join()
        answers.close()
    if "setting" in read:
        raise SettingError(read["setting"])
    if "fault" in read:
        raise RecheckError(read["fault"])
    return Paper(**read)


def _read(path: str, sender: Connection) -> None:
    """Read a file and send what it says as JSON; the process ends after it."""
    bound()
    sender.send_bytes(json.dumps(answer(Path(path))).encode())


def bound() -> None:
    """Bind this process for good: its memory, its time, nothing to write, nothing to say."""
    sys.dont_write_bytecode = True
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # it has nothing to write
    warnings.simplefilter("ignore")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # decoders in C tell their troubles there


def answer(path: Path) -> dict[str, object]:
    """Return a ``Paper`` as plain values, or ``fault`` or ``setting`` with a sentence."""
    try:
        return asdict(read_paper(path))
    except SettingError as error:
        return {"setting": str(error)}
    except CompanionError as error:
        return {"fault": str(error)}
    except MemoryError:
        return {"fault": f"{path} takes more memory than a guide or a photo."}
    except Exception:
        return {"fault": f"{path} is damaged, or no guide and no photo."}
