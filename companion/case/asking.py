"""What a kit lacks, as a form that the supplier fills in and sends back, and its answer, put into the kit.

The form is a kit's own file with empty texts in the place of what is not known, so an answer and a kit that a supplier
writes from scratch are read alike.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from companion.case.equipment import Cylinder, Portable, Reservoir
from companion.case.fields import CLINICIAN, CONSERVER_SUPPLIER, SUPPLIER, Part, fields_of, typed
from companion.case.rooms import Kit, Rooms
from companion.errors import CaseError, Fault, harmless

_KINDS: dict[str, type[Part]] = {"reservoir": Reservoir, "portable": Portable, "cylinder": Cylinder}

_HEAD = """\
# Facts about home oxygen equipment, asked by {clinic}.
# Please write each between its quotation marks as the data sheet or the device has it, with its unit, such as "20 psi".
# Leave empty what you do not know, and what does not apply. Then send this file back as it is.
kit = "{kit}"
"""


def questions(rooms: Rooms, name: str) -> str:
    """Return the form of what a kit lacks and its supplier knows; of a kit that is not there yet, of all of it."""
    kit = rooms.kits.get(name) or {kind: [{}] for kind in _KINDS}
    clinic = rooms.settings.get("clinic", {}).get("name", "a clinic")
    lines = [_HEAD.format(clinic=" ".join(str(clinic).split()), kit=name)]
    for kind, model in _KINDS.items():
        for place, container in enumerate(kit.get(kind, ()), start=1):
            lines += [f"# {kind.capitalize()} {place}", f"[[{kind}]]", *_asked(model, container), ""]
    return "\n".join(lines)


def _asked(model: type[Part], given: Mapping[str, Any], within: str = "") -> Iterator[str]:
    for name, field in fields_of(model).items():
        value = given.get(name)
        if field.part is not None:
            yield from _asked(field.part, value if isinstance(value, Mapping) else {}, f"{within}{name}.")
        elif value is None and field.ask in (SUPPLIER, CONSERVER_SUPPLIER) and name != "conserver":
            yield f"# {'needed: ' if field.required else ''}{field.right}"
            yield f'{within}{name} = ""'


def answered(raw: Mapping[str, Any], source: Path, rooms: Rooms) -> tuple[str, dict[str, Any], list[str]]:
    """Return the kit that an answer is about, that kit with the answer in it, and what the answer changes in it.

    Raises:
        CaseError: the kit's name is none.
    """
    name = raw.get("kit", source.stem)
    if not isinstance(name, str) or not name.replace("-", "").replace("_", "").isalnum() or len(name) > 60:
        right = "letters, digits, '-' and '_', such as top-fill-36: it becomes the name of a file"
        fault = Fault("kit", harmless(repr(name)[:60]), "no name of a kit", right, CLINICIAN)
        raise CaseError(str(source), [fault])
    told = {part: value for part, value in raw.items() if part != "kit"}
    before = rooms.kits.get(name, {})
    changes: list[str] = []
    kit = _merged(Kit, before, told, "", changes)
    kit.setdefault("name", name)
    return name, kit, changes


def _merged(
    model: type[Part], before: Mapping[str, Any], told: Mapping[str, Any], within: str, changes: list[str]
) -> dict[str, Any]:
    """Return what was there with what is told in its place; an empty text tells nothing."""
    kit = dict(before)
    for name, value in told.items():
        path, field = f"{within}{name}", fields_of(model).get(name)
        part = field.part if field else None
        if isinstance(value, str) and not value.strip():
            continue
        if part is not None and isinstance(value, list):
            had = kit.get(name, [])
            items = [
                _merged(part, had[place] if place < len(had) else {}, item, f"{path}[{place + 1}].", changes)
                if isinstance(item, Mapping)
                else item
                for place, item in enumerate(value)
            ]
            # A container of which the form was left empty is not in the set.
            kit[name] = [item for item in items if item] + had[len(value) :]
            continue
        if part is not None and isinstance(value, Mapping):
            new: Any = _merged(part, kit.get(name, {}), value, f"{path}.", changes)
            if not new:
                continue
        else:
            new = typed(value.strip(), field.kind) if isinstance(value, str) and field else value
            if name in kit and kit[name] != new:
                changes.append(f"{path} was {harmless(str(kit[name]))}, and is {harmless(str(new))} now")
        kit[name] = new
    return kit
