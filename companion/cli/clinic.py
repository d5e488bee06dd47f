"""The clinic's folder: shown, checked, asked about and completed: the command clinic."""

import argparse
from pathlib import Path

from companion.cli.parsing import Commands, command
from companion.errors import Fault, harmless


def add_commands(commands: Commands) -> None:
    """Add it to the parser."""
    clinic = command(
        commands,
        "clinic",
        _clinic,
        "show and check the clinic's folder: its own settings and its kits (exit 2: something is wrong)",
        "clinic",
        "clinic our-clinic --ask top-fill-36 > ask.toml",
        "clinic our-clinic --take answer.toml",
    )
    clinic.add_argument(
        "folder",
        type=Path,
        nargs="?",
        metavar="FOLDER",
        help="where clinic.toml and kits/ lie; default: companion in your settings, where the desk keeps them",
    )
    clinic.add_argument(
        "--ask",
        metavar="KIT",
        help="print what the kit lacks as a form for the supplier; of a new kit, all of it",
    )
    clinic.add_argument("--take", type=Path, metavar="FILE", help="put a supplier's answer, or a whole kit, into kits/")


def _clinic(arguments: argparse.Namespace) -> int:
    from companion.case.asking import questions
    from companion.case.rooms import read_rooms
    from companion.link.keys import default_key_file

    folder = arguments.folder or default_key_file().parent
    if arguments.take is not None:
        return _take(arguments.take, folder)
    rooms = read_rooms(folder)
    if arguments.ask is not None:
        print(questions(rooms, arguments.ask), end="")
        return 0
    return _show(folder)


def _take(path: Path, folder: Path) -> int:
    from companion.case.asking import answered
    from companion.case.rooms import KITS, read_rooms, write_kit
    from companion.case.toml_file import read_toml

    name, kit, changes = answered(read_toml(path), path, read_rooms(folder))
    missing = write_kit(folder, name, kit)
    print(f"Wrote {folder / KITS / name}.toml")
    for change in changes:
        print(f"    {change}")
    _tell(missing)
    return 0


def _show(folder: Path) -> int:
    from companion.case.rooms import CLINIC_FILE, KITS, faults_of_kit, faults_of_settings, read_rooms

    rooms = read_rooms(folder)
    print(f"{folder}:")
    if not rooms.settings:
        print(f"  {CLINIC_FILE} is not there yet. The desk writes it; its table [clinic] is that of a case file.")
    else:
        _room(CLINIC_FILE, str(rooms.settings.get("clinic", {}).get("name", "")), faults_of_settings(rooms.settings))
    for kit, values in rooms.kits.items():
        told = f"{values.get('name', '')}{' (retired)' if values.get('retired') is True else ''}"
        _room(f"{KITS}/{kit}.toml", told, faults_of_kit(values))
    if not rooms.kits:
        print(f"  {KITS}/ holds no kit yet. 'companion clinic --ask NAME' prints a form for the supplier.")
    wrong = bool(rooms.settings and faults_of_settings(rooms.settings)) or any(map(faults_of_kit, rooms.kits.values()))
    return 2 if wrong else 0


def _room(file: str, name: str, faults: list[Fault]) -> None:
    state = "nothing is wrong or missing" if not faults else f"missing or wrong: {len(faults)}"
    print(f"  {file}  {harmless(name)}: {state}")
    _tell(faults)


def _tell(faults: list[Fault]) -> None:
    for fault in faults:
        print("    " + str(fault).replace("\n", "\n    "))
