"""What ``examples/serving`` shows an administrator works: systemd and nginx take it, this program takes the commands.

What nobody sees at the first look has a test of its own: it leaves a key or a patient where neither belongs, or fails
on a larger machine.
"""

import json
import re
import shlex
import subprocess
import tomllib
from pathlib import Path

import pytest

from companion.case.toml_file import LARGEST_FILE
from companion.cli import parser
from companion.web.serve import DESK_WORKERS
from tests.tools import ROOT, program

SERVING = ROOT / "examples/serving"
UNITS = sorted(SERVING.glob("*.service"))


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.stem)
def test_systemd_finds_nothing_wrong(unit: Path, tmp_path: Path) -> None:
    # The program stands where an administrator has installed it, and not here.
    copy = tmp_path / unit.name
    copy.write_text(unit.read_text(encoding="utf-8").replace("/opt/companion/bin/companion", "/bin/true"))
    command = [program("systemd-analyze"), "verify", "--man=no", str(copy)]
    told = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (told.returncode, told.stderr) == (0, "")


def commands() -> list[list[str]]:
    """Return what each unit, the container and the guide start, without the path of the program."""
    found = [
        shlex.split(line.partition("=")[2].replace("${", "").replace("}", ""))[1:]
        for unit in UNITS
        for line in unit.read_text(encoding="utf-8").splitlines()
        if line.startswith("ExecStart=")
    ]
    container = (SERVING / "Containerfile").read_text(encoding="utf-8")
    found += [json.loads(words) for words in re.findall(r"^CMD (\[.*\])$", container, re.MULTILINE)]
    guide = (SERVING / "README.md").read_text(encoding="utf-8")
    typed = re.findall(r"^(?:/opt/companion/bin/)?companion .*$", guide, re.MULTILINE)
    return found + [shlex.split(line, comments=True)[1:] for line in typed]


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_each_command_can_be_typed(words: list[str]) -> None:
    assert parser().parse_args(words).run


def test_there_is_something_to_type() -> None:
    assert len(UNITS) == 2
    assert len(commands()) >= 7


# ── the desk's unit ─────────────────────────────────────────────────────────────────────────────


def test_the_desk_needs_no_more_threads_on_a_large_machine() -> None:
    unit = (SERVING / "companion-desk.service").read_text(encoding="utf-8")
    most = int(re.findall(r"^TasksMax=(\d+)$", unit, re.MULTILINE)[0])
    typesetting = int(re.findall(r"^Environment=RAYON_NUM_THREADS=(\d+)$", unit, re.MULTILINE)[0])
    beside_the_loop = 32  # what Python's own pool has at most
    their_own = 4  # the loop, the one typesetter, the watch over the parent, the last resort
    of_the_parent = 4
    # Each process is replaced by one that may begin before it has ended.
    assert 2 * DESK_WORKERS * (typesetting + their_own) + DESK_WORKERS * beside_the_loop + of_the_parent <= most


def test_a_key_that_root_puts_back_can_be_read_by_the_desk() -> None:
    unit = (SERVING / "companion-desk.service").read_text(encoding="utf-8")
    assert "ExecStartPre=+chown -R --reference=%S/companion %S/companion/\n" in unit


# ── the container ───────────────────────────────────────────────────────────────────────────────


def copied() -> list[str]:
    """Return what the container copies from the top folder."""
    container = (SERVING / "Containerfile").read_text(encoding="utf-8")
    return [source for line in re.findall(r"^COPY (.*)$", container, re.MULTILINE) for source in line.split()[:-1]]


def test_the_container_copies_by_name_what_the_program_is_made_of() -> None:
    # The top folder may hold keys and guides, and a layer keeps what was once copied.
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    parts = project["tool"]["hatch"]["build"]["targets"]["wheel"]["only-include"]
    read = [project["project"]["readme"], *project["project"]["license-files"]]
    assert sorted(copied()) == sorted(["pyproject.toml", ".ci/constraints.txt", *read, *parts])


def test_the_container_is_built_in_the_format_that_knows_of_health() -> None:
    container = (SERVING / "Containerfile").read_text(encoding="utf-8")
    assert "HEALTHCHECK" in container
    assert "podman build --format docker " in container


# ── the proxy ───────────────────────────────────────────────────────────────────────────────────

PROXY = (SERVING / "nginx.conf").read_text(encoding="utf-8")
SERVERS = re.split(r"^server \{", PROXY, flags=re.MULTILINE)[1:]


def megabytes(size: str) -> float:
    return int(size[:-1]) / {"k": 1024, "m": 1}[size[-1]]


def set_to(server: str, name: str) -> str:
    """Return what a server of the proxy is told under a name, and fail unless it stands there once."""
    (value,) = (str(found) for found in re.findall(rf"^ +{name} (.*?);", server, re.MULTILINE))
    return value


@pytest.mark.parametrize("server", SERVERS, ids=lambda server: set_to(server, "server_name"))
def test_the_proxy_writes_nothing_of_anybody(server: str) -> None:
    assert set_to(server, "access_log") == "off"
    assert set_to(server, "error_log") == "/dev/null emerg"
    if "proxy_pass" in server:
        assert set_to(server, "client_body_buffer_size") == set_to(server, "client_max_body_size")
        assert set_to(server, "proxy_max_temp_file_size") == "0"


def test_the_proxy_lets_the_largest_file_through() -> None:
    (desk,) = [server for server in SERVERS if "127.0.0.1:8020" in server]
    assert megabytes(set_to(desk, "client_max_body_size")) * 2**20 > LARGEST_FILE + 64 * 1024


def test_nginx_finds_nothing_wrong(tmp_path: Path) -> None:
    ours = tmp_path / "companion.conf"
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    made = [program("openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=clinic.example"]
    subprocess.run([*made, "-keyout", str(key), "-out", str(certificate)], capture_output=True, check=True)
    told = re.sub(r"(ssl_certificate_key) .*;", rf"\1 {key};", PROXY)
    told = re.sub(r"(ssl_certificate) .*;", rf"\1 {certificate};", told)
    ours.write_text(re.sub(r"listen (\d+)", rf"listen unix:{tmp_path}/\1", told), encoding="utf-8")
    whole = tmp_path / "nginx.conf"
    whole.write_text(f"pid {tmp_path}/pid;\nevents {{}}\nhttp {{ include {ours}; }}\n", encoding="utf-8")
    command = [program("nginx"), "-t", "-q", "-e", "stderr", "-c", str(whole)]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (answer.returncode, answer.stderr) == (0, "")
