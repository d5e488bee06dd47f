"""What the clinic's desk and the phones are served, and what signs it: the commands serve, publish and keys."""

import argparse
from pathlib import Path

from companion.cli.options import Commands, day_option, keys_option, loaded_keys


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    serve = commands.add_parser("serve", help="open the clinic's desk, or serve the pages behind the QR codes")
    serve.add_argument("--port", type=int, default=8020, metavar="NUMBER", help="default: 8020")
    serve.add_argument("--host", default="127.0.0.1", metavar="ADDRESS", help="default: this machine alone")
    serve.add_argument(
        "--origin",
        metavar="ADDRESS",
        help="the desk's address behind the clinic's own sign-in, such as https://desk.clinic.example",
    )
    serve.add_argument("--public", action="store_true", help="serve the public pages alone; no form takes a case")
    keys_option(serve)
    serve.set_defaults(run=_serve)

    publish = commands.add_parser("publish", help="write the public pages as files for any web host")
    publish.add_argument("case", type=Path, nargs="+", metavar="CASE")
    day_option(publish)
    publish.add_argument("folder", type=Path, metavar="FOLDER", help="what the web host serves at 'link_base'")
    publish.add_argument(
        "--language", default="en", metavar="TAG", help="of the bare address; each language has its own. Default: en"
    )
    keys_option(publish)
    publish.set_defaults(run=_publish)

    keys = commands.add_parser("keys", help="show the fingerprints of the clinic's keys, to compare two machines")
    keys.add_argument("--new", action="store_true", help="put a new key on top, which signs from now on")
    keys_option(keys)
    keys.set_defaults(run=_show_keys)


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
    from companion.web.publish import publish

    cases = [read_case(path, arguments.today) for path in arguments.case]
    keys = loaded_keys(arguments)
    for address in publish(cases, arguments.folder, arguments.language, keys, arguments.today):
        print(f"Wrote {address}")
    return 0


def _show_keys(arguments: argparse.Namespace) -> int:
    from companion.link.keys import add_key, default_key_file, load_keys

    path = arguments.keys or default_key_file()
    keys = add_key(path) if arguments.new else load_keys(path)
    print(f"{path}:")
    for place, fingerprint in enumerate(keys.fingerprints()):
        print(f"    {fingerprint}  {'is still read' if place else 'signs'}")
    return 0
