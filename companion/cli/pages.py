"""What the clinic's desk and the phones are served, and what signs it: the commands serve, publish and keys."""

import argparse
from pathlib import Path

from companion.cli.options import case_file, day_option, for_programs_option, keys_option, loaded_keys
from companion.cli.parsing import Commands, command


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    serve = command(
        commands,
        "serve",
        _serve,
        "open the clinic's desk, or serve the pages behind the QR codes",
        "serve",
        "serve --origin https://desk.clinic.example --keys /var/lib/companion/link.keys",
        "serve --public --port 8021 --keys /etc/companion/link.keys",
    )
    serve.add_argument("--port", type=int, default=8020, metavar="NUMBER", help="default: 8020")
    serve.add_argument("--host", default="127.0.0.1", metavar="ADDRESS", help="default: this machine alone")
    serve.add_argument(
        "--origin",
        metavar="ADDRESS",
        help="the desk's address behind the clinic's own sign-in, such as https://desk.clinic.example",
    )
    serve.add_argument("--public", action="store_true", help="serve the public pages alone; no form takes a case")
    keys_option(serve)

    publish = command(
        commands,
        "publish",
        _publish,
        "write the public pages as files for any web host",
        "publish case.toml /srv/www/oxygen",
        "publish cases/*.toml /srv/www/oxygen --language es",
    )
    publish.add_argument("case", type=case_file, nargs="+", metavar="CASE", help="case files")
    day_option(publish)
    publish.add_argument("folder", type=Path, metavar="FOLDER", help="what the web host serves at 'link_base'")
    publish.add_argument(
        "--language", default="en", metavar="TAG", help="of the bare address; each language has its own. Default: en"
    )
    for_programs_option(publish)
    keys_option(publish)
    publish.add_argument("--quiet", action="store_true", help="name no addresses: they tell a patient's whole order")

    keys = command(
        commands,
        "keys",
        _keys,
        "show, make, compare and back up the clinic's keys; each is shown by a fingerprint alone",
        "keys",
        "keys --new",
        "keys --compare 'a1b2 c3d4 e5f6 0718'    # as the other machine shows it",
        "keys --backup /media/safe/link.keys",
    )
    keys.add_argument("--new", action="store_true", help="put a new key on top, which signs from now on")
    keys.add_argument(
        "--compare",
        nargs="+",
        metavar="FINGERPRINT",
        help="those of another machine in their order, or its key file: the same (exit 0) or not (1)",
    )
    keys.add_argument("--backup", type=Path, metavar="FILE", help="write a copy, closed to others, and read it back")
    for_programs_option(keys)
    keys_option(keys)


def _serve(arguments: argparse.Namespace) -> int:
    from companion.link.keys import clinic_key_file, default_key_file
    from companion.web.serve import serve_desk, serve_public

    if arguments.public:
        # A new key would read no code that the clinic has printed: the desk's key file is copied here.
        serve_public(arguments.host, arguments.port, arguments.keys or default_key_file())
    else:
        serve_desk(arguments.host, arguments.port, clinic_key_file(arguments.keys), arguments.origin)
    return 0


def _publish(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export.answer import as_json_line
    from companion.language.catalogue import settings
    from companion.web.publish import publish

    settings(arguments.language)
    cases = [read_case(path, arguments.today) for path in arguments.case]
    keys = loaded_keys(arguments)
    addresses = publish(cases, arguments.folder, arguments.language, keys, arguments.today)
    if arguments.format == "json":
        print(as_json_line({"folder": arguments.folder, "addresses": list(addresses)}), end="")
        return 0
    for address in addresses:
        if not arguments.quiet:
            print(f"Wrote {address}")
    return 0


def _keys(arguments: argparse.Namespace) -> int:
    from companion.export.answer import as_json_line
    from companion.link.keys import add_key, back_up, default_key_file, load_keys, other_fingerprints

    path = arguments.keys or default_key_file()
    keys = add_key(path) if arguments.new else load_keys(path)
    answer: dict[str, object] = {"file": path, "fingerprints": keys.fingerprints()}
    lines = [
        f"{path}:",
        *(f"    {mark}  {'is still read' if place else 'signs'}" for place, mark in enumerate(keys.fingerprints())),
    ]
    status = 0
    if arguments.backup is not None:
        back_up(path, arguments.backup)
        answer["backup"] = arguments.backup
        lines.append(
            f"Copied to {arguments.backup} and read back. Whoever has this copy can sign guides: keep it locked away."
        )
    if arguments.compare is not None:
        problems = keys.unlike(other_fingerprints(arguments.compare))
        answer |= {"same": not problems, "problems": problems}
        lines += problems or ["The other machine has the same keys in the same order."]
        status = 1 if problems else 0
    print(as_json_line(answer) if arguments.format == "json" else "\n".join(lines) + "\n", end="")
    return status
