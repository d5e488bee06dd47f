"""The commands that start the web programs: where they listen, what they write, what they refuse, what they forget."""

import contextlib
import functools
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import httpx
import pytest

from companion.cli import main
from companion.link.keys import add_key
from companion.web import form
from tests.cases import UNLIKE_FLOWS, a_case, case_dict
from tests.conftest import as_toml
from tests.tools import key_file
from tests.visit import address, free_port

T = TypeVar("T")
# A process that has just been started takes its time.
get = functools.partial(httpx.get, timeout=60)
send = functools.partial(httpx.post, timeout=120)

QUICK = (
    "import sys\n"
    "from companion.cli import main\n"
    "from companion.web import serve\n"
    "serve.REST_SECONDS = 1.5\n"
    "serve._PATIENCE_SECONDS = 5\n"
    "serve._READING_SECONDS = 8\n"
    "if __name__ == '__main__':\n"
    "    sys.exit(main(sys.argv[1:]))\n"
)
"""The command, with a desk whose processes are replaced after a short rest, and that is less patient."""


@dataclass(frozen=True)
class Served:
    """A program that runs."""

    base: str
    """Its address as it told it, without the last stroke."""
    port: int
    pid: int
    log: Path

    def token(self) -> str:
        """Return what the desk's forms send back."""
        found = re.search('name="token" value="([a-z2-7]+)"', get(f"{self.base}/").text)
        assert found
        return found[1]

    def post(self, path: str = "/", **entries: str) -> httpx.Response:
        """Send a form of the desk."""
        return send(self.base + path, data={"token": self.token(), **entries})


@contextmanager
def served(*words: str, log: Path, quick: bool = False) -> Iterator[Served]:
    """Run ``companion serve`` until the block ends; what it wrote is in ``log``."""
    port = free_port()
    script = log.with_name("quick.py")
    script.write_text(QUICK, encoding="utf-8")
    start = [str(script)] if quick else ["-m", "companion"]
    with log.open("wb") as out:
        command = [sys.executable, *start, "serve", "--port", str(port), *words]
        environment = {**os.environ, "PYTHONPATH": str(Path.cwd())}
        program = subprocess.Popen(command, stdout=out, stderr=out, env=environment)
        try:
            told = wait_for(lambda: re.search(r"at (http://\S+?)/?\n", log.read_text()), 120)  # told once it answers
            assert told
            yield Served(told[1], port, program.pid, log)
        finally:
            program.terminate()
            program.wait(timeout=20)


def wait_for(found: Callable[[], T | None], seconds: float = 30) -> T | None:
    """Return what comes true in time, or the last that did not."""
    end = time.monotonic() + seconds
    while not (value := found()) and time.monotonic() < end:
        time.sleep(0.1)
    return value


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Run one desk for all tests that only ask it."""
    folder = tmp_path_factory.mktemp("desk")
    with served("--keys", str(key_file(folder / "link.keys")), log=folder / "log") as running:
        yield running


@pytest.fixture(scope="module")
def quick_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Run one desk that is less patient."""
    folder = tmp_path_factory.mktemp("quick")
    with served("--keys", str(key_file(folder / "link.keys")), log=folder / "log", quick=True) as running:
        yield running


def test_the_desk_makes_the_keys_and_logs_nothing_personal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    keys, log = tmp_path / "companion" / "link.keys", tmp_path / "log"
    with served(log=log) as desk:
        assert keys.stat().st_mode & 0o777 == 0o600
        sent = as_toml(case_dict()).encode()
        opened = send(f"{desk.base}/open", data={"token": desk.token()}, files={"file": sent})
        assert "Rosa Lindqvist" in opened.text
        assert desk.post(**{"patient.name": "Rosa Lindqvist", "do": "make"}).status_code == 422
        send(f"{desk.base}/", content=b"\xff", headers={"content-type": "multipart/form-data"})
        bounded = "multipart/form-data; boundary=x"
        send(f"{desk.base}/", content=b"--x`Rosa", headers={"content-type": bounded})
    written = log.read_text()
    assert "The desk is open at" in written
    assert "Rosa" not in written
    assert "Expected" not in written  # the reader of forms tells the byte at which it stopped


def test_another_user_of_the_machine_does_not_know_the_desks_address(desk: Served) -> None:
    for path in ("/", "/desk.js", "/preview"):
        assert get(f"http://127.0.0.1:{desk.port}{path}").status_code == 403
    assert send(f"http://127.0.0.1:{desk.port}/", data={"do": "make"}).status_code == 403
    # Other users see the words of a command.
    assert desk.base.rsplit("/", 1)[1] not in Path(f"/proc/{desk.pid}/cmdline").read_text()


def test_the_public_pages_log_no_code(tmp_path: Path) -> None:
    keys, log = tmp_path / "link.keys", tmp_path / "log"
    path = address(a_case(UNLIKE_FLOWS), "/en", add_key(keys))
    with served("--public", "--keys", str(keys), log=log) as pages:
        assert get(pages.base + path).status_code == 200
        assert get(pages.base + path[:-8]).status_code == 404
        refused = send(pages.base + path, data={"do": "make"})
        assert (refused.status_code, set(refused.headers["allow"].split(", "))) == (405, {"GET", "HEAD"})
        # No answer repeats the host that a request names.
        for place, status in (("/t", 200), ("/nothing", 404)):
            bare = get(pages.base + place, headers={"host": "evil.example"})
            assert bare.status_code == status
            assert "evil.example" not in str(bare.headers) + bare.text
    assert path.split("/")[2][:12] not in log.read_text()


# ── what it forgets ─────────────────────────────────────────────────────────────────────────────


def family(pid: int) -> set[int]:
    """Return a process and all that it started."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return {pid}.union(*(family(int(child)) for child in children))


def copies(pid: int, name: bytes) -> int:
    """Count how often a text stands in the memory of a process."""
    count = 0
    with contextlib.suppress(OSError), Path(f"/proc/{pid}/mem").open("rb", buffering=0) as memory:
        for line in Path(f"/proc/{pid}/maps").read_text().splitlines():
            place, rights, *_ = line.split()
            if not rights.startswith("rw"):
                continue
            start, end = (int(part, 16) for part in place.split("-"))
            with contextlib.suppress(OSError, ValueError, OverflowError):
                memory.seek(start)
                count += memory.read(end - start).count(name)
    return count


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="no memory to look into")
def test_no_name_stays_in_memory_after_the_work(quick_desk: Served) -> None:
    desk = quick_desk
    entries = {name: texts[0] for name, texts in form.entries_of(case_dict()).items()}
    planted = [f"Quillfeather{number} Vorschtag" for number in range(4)]
    for name in planted:
        assert desk.post("/preview", **{**entries, "patient.name": name}).status_code == 200
    made = desk.post(**{**entries, "patient.name": planted[0], "do": "make"})
    assert made.headers["content-type"] == "application/zip"
    have_seen = {pid for pid in family(desk.pid) if copies(pid, b"Quillfeather")}
    assert have_seen, "the count sees nothing"
    # The process that stays has never seen one, and those that have are replaced.
    assert desk.pid not in have_seen
    assert wait_for(lambda: not have_seen & family(desk.pid))
    assert sum(copies(pid, b"Quillfeather") for pid in family(desk.pid)) == 0
    assert get(f"{desk.base}/").status_code == 200


def test_a_process_that_ends_still_answers_who_has_just_come(quick_desk: Served) -> None:
    host, _, path = quick_desk.base.removeprefix("http://").partition("/")
    before = family(quick_desk.pid)
    whole = f"GET /{path}/ HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode()
    for _ in range(8):  # so that each process has been asked once, and will end
        assert get(f"{quick_desk.base}/").status_code == 200
    with half_requests(quick_desk.port, 8, b"") as come:
        time.sleep(3)  # each is resting for longer than it stays
        for one in come:
            one.sendall(whole)
        for one in come:
            one.settimeout(20)
            assert one.recv(15) == b"HTTP/1.1 200 OK"
    assert wait_for(lambda: before - family(quick_desk.pid)), "none of them ended"


# ── slow and half requests ──────────────────────────────────────────────────────────────────────


@contextmanager
def half_requests(port: int, count: int, text: bytes) -> Iterator[list[socket.socket]]:
    """Hold open many connections that have sent half a request."""
    with contextlib.ExitStack() as held:
        sent = []
        for _ in range(count):
            one = held.enter_context(socket.create_connection(("127.0.0.1", port), timeout=10))
            one.sendall(text)
            sent.append(one)
        yield sent


@pytest.mark.parametrize(
    "half", ["GET / HTTP/1.1\r\nHost: x", "POST {} HTTP/1.1\r\nHost: {}\r\nContent-Length: 9\r\n\r\n"]
)
def test_half_requests_cost_others_nothing(half: str, desk: Served) -> None:
    host, _, path = desk.base.removeprefix("http://").partition("/")
    text = half.format(f"/{path}/preview", host).encode()
    assert desk.token()
    with half_requests(desk.port, 1000, text):
        for _ in range(15):
            start = time.monotonic()
            assert get(f"{desk.base}/").status_code == 200
            assert time.monotonic() - start < 10
    assert "Disconnect" not in desk.log.read_text()


def test_half_a_request_is_given_up(quick_desk: Served) -> None:
    with half_requests(quick_desk.port, 1, b"GET / HTTP/1.1\r\nHost: x") as (slow,):
        slow.settimeout(45)
        start = time.monotonic()
        assert slow.recv(1) == b""
        assert time.monotonic() - start > 4


def test_answers_that_nobody_takes_are_given_up(quick_desk: Served) -> None:
    host, _, path = quick_desk.base.removeprefix("http://").partition("/")
    whole = f"GET /{path}/ HTTP/1.1\r\nHost: {host}\r\n\r\n".encode()
    with half_requests(quick_desk.port, 1, 100 * whole) as (deaf,):
        assert wait_for(lambda: is_held(quick_desk.port, deaf))
        assert wait_for(lambda: not is_held(quick_desk.port, deaf))


def is_held(port: int, client: socket.socket) -> bool:
    """Tell whether a server holds its end of a connection; what lies unread outlives it in the system."""
    ends = (f":{port:04X}", f":{client.getsockname()[1]:04X}")
    lines = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()]
    return any((line[1][-5:], line[2][-5:]) == ends and line[9] != "0" for line in lines)


# ── where they listen ───────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "clinic.example"])  # noqa: S104  (it is refused)
def test_the_desk_listens_on_this_machine_alone(host: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--host", host, "--keys", str(tmp_path / "link.keys")]) == 2
    assert "on this machine alone" in capsys.readouterr().err


@pytest.mark.parametrize("public", [[], ["--public"]], ids=["desk", "public"])
@pytest.mark.parametrize("port", ["99999", "-1", "taken"])
def test_a_port_that_cannot_be_had_is_told_and_nothing_is_open(
    port: str, public: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = key_file(tmp_path / "link.keys")
    with socket.create_server(("127.0.0.1", 0)) as other:
        number = str(other.getsockname()[1]) if port == "taken" else port
        assert main(["serve", *public, "--port", number, "--keys", str(keys)]) == 2
    told = capsys.readouterr()
    assert number in told.err
    assert "port" in told.err
    assert told.out == ""


def test_the_public_pages_need_the_clinics_keys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # A key made here would read none of the clinic's codes.
    assert main(["serve", "--public", "--keys", str(tmp_path / "link.keys")]) == 2
    assert "There is no key file" in capsys.readouterr().err
    assert not (tmp_path / "link.keys").exists()
