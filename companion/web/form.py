"""The desk's form: made from the model of the case, so that it asks for what a case file holds and nothing else.

What was typed travels as ``Entries``: field name to texts. A name is the path of the field in a case file, as the
messages spell it (``portable[1].boil_off``), so each message finds its field.
"""

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any, Literal, get_args, get_origin

from companion.case.fields import CaseField, Part, fields_of, typed
from companion.case.model import Case
from companion.case.rooms import EQUIPMENT
from companion.errors import Fault
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.web.desk_words import label, words

Entries = Mapping[str, Sequence[str]]
"""What was typed, by the name of the field. Most fields have one text, a choice of several has any number."""

BOLUS_ROWS = 3
"""Rows for the settings of a conserver: one for each activity."""

UNASKED = ("confirmed", "from_kit")
"""Fields of a case that the form has no question for: ticks beside other fields, and what picking a kit leaves."""

_BOLUS = "conserver.bolus"
_GAUGE = ".gauge.kind"
TAKEN_OUT = "taken-out"
"""The field in which a container travels that was taken out."""

_DEEPEST = 4  # points in the name of a field; a file that nests deeper is none of ours


# ── what the form looks like ────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Option:
    """One choice of a question."""

    value: str
    words: str
    lang: str | None = None
    """The language of its words, where it is not the form's."""
    note: str = ""


@dataclass(frozen=True)
class Field:
    """One question of the form."""

    name: str
    id: str
    label: str
    hint: str
    kind: Literal["text", "number", "date", "choice", "pictured", "several"]
    """``pictured``: a choice of which each option has a drawing."""
    options: tuple[Option, ...]
    values: tuple[str, ...]
    required: bool
    faults: tuple[Fault, ...]
    taken: str = ""
    """What stands there from the clinic's own settings or from the other hours, while nothing is typed."""

    @property
    def value(self) -> str:
        """Return what was typed."""
        return self.values[0] if self.values else ""


@dataclass(frozen=True)
class Group:
    """Questions that belong together: a part of the case, or one container."""

    name: str
    id: str
    title: str
    parts: tuple["Field | Group", ...]
    faults: tuple[Fault, ...]
    """What is wrong with the part as a whole."""
    optional: bool = False
    """Whether all of it may be left empty."""
    container: str | None = None
    """The kind of container, where the group is one that can be taken out again."""
    addable: str | None = None
    """The kind of container that can be added, where the group is a list that is not full."""


def groups(entries: Entries, faults: Sequence[Fault], taken: Mapping[str, str]) -> dict[str, "Field | Group"]:
    """Return the form, by the top-level fields of the case, each message beside its field.

    The list ``confirmed`` is no question of its own: it is the ticks beside the fields that it names.
    """
    return {
        name: _part(name, field, _Typed(entries, faults, taken))
        for name, field in fields_of(Case).items()
        if name not in UNASKED
    }


@dataclass(frozen=True)
class _Typed:
    entries: Entries
    faults: Sequence[Fault]
    taken: Mapping[str, str]

    def at(self, path: str) -> tuple[Fault, ...]:
        return tuple(fault for fault in self.faults if fault.where == path)


def places(found: "Mapping[str, Field | Group]") -> dict[str, str]:
    """Return the id of every field and group by its name, and by the field of each message beside it."""
    names = {part.name: part.id for part in parts(found)}
    return names | {fault.where: part.id for part in parts(found) for fault in part.faults}


def parts(found: "Mapping[str, Field | Group]") -> Iterator["Field | Group"]:
    """Yield every group and field of the form, each group before what is in it."""
    for top in found.values():
        yield from _walk(top)


def _walk(part: "Field | Group") -> Iterator["Field | Group"]:
    yield part
    if isinstance(part, Group):
        for inner in part.parts:
            yield from _walk(inner)


def _part(path: str, field: CaseField, typed_in: _Typed) -> "Field | Group":
    entries, title = typed_in.entries, label(path)
    if path == _BOLUS:
        return _bolus(typed_in)
    if field.part is not None and field.many:
        rows = tuple(
            _group(f"{path}[{place}]", f"{title} {place}", field.part, typed_in, container=field.name)
            for place in range(1, rows_of(path, entries) + 1)
        )
        return Group(
            name=path,
            id=id_of(path),
            title=f"{title}s",
            parts=rows,
            faults=typed_in.at(path),
            addable=field.name if field.most is None or len(rows) < field.most else None,
        )
    if field.part is not None:
        return _group(path, title, field.part, typed_in, optional=not field.required)
    shown, options = _asked_as(field)
    if path.endswith(_GAUGE):
        shown = "pictured"
    return Field(
        name=path,
        id=id_of(path),
        label=title,
        hint=field.right,
        kind=shown,
        options=options,
        values=tuple(entries.get(path, ())),
        required=field.required,
        faults=typed_in.at(path),
        taken=typed_in.taken.get(path, ""),
    )


def _group(
    path: str,
    title: str,
    model: type[Part],
    typed_in: _Typed,
    container: str | None = None,
    *,
    optional: bool = False,
) -> Group:
    return Group(
        name=path,
        id=id_of(path),
        title=title,
        parts=tuple(_part(f"{path}.{name}", field, typed_in) for name, field in fields_of(model).items()),
        faults=typed_in.at(path),
        optional=optional,
        container=container,
    )


def _bolus(typed_in: _Typed) -> Group:
    """Return the rows for a conserver's data: a setting and the dose that belongs to it."""
    entries, faults = typed_in.entries, typed_in.faults
    rows = []
    known = set()
    for place in range(1, max(BOLUS_ROWS, rows_of(_BOLUS, entries)) + 1):
        path = f"{_BOLUS}[{place}]"
        setting = _one(entries, f"{path}.setting")
        known.add(setting)
        rows += [
            _plain_field(f"{path}.setting", words("setting"), words("hint setting"), entries, ()),
            _plain_field(
                f"{path}.dose",
                words("dose"),
                words("hint dose"),
                entries,
                typed_in.at(f"{_BOLUS}.{setting}") if setting else (),
            ),
        ]
    elsewhere = tuple(
        fault
        for fault in faults
        if fault.where == _BOLUS
        or (fault.where.startswith(f"{_BOLUS}.") and fault.where.removeprefix(f"{_BOLUS}.") not in known)
    )
    return Group(_BOLUS, id_of(_BOLUS), words("pulses"), tuple(rows), elsewhere)


def _plain_field(path: str, label: str, hint: str, entries: Entries, faults: tuple[Fault, ...]) -> Field:
    typed_in = tuple(entries.get(path, ()))
    return Field(path, id_of(path), label, hint, "text", (), typed_in, required=False, faults=faults)


def _asked_as(
    field: CaseField,
) -> tuple[Literal["text", "number", "date", "choice", "pictured", "several"], tuple[Option, ...]]:
    named = tuple(Option(word, word) for word in get_args(field.kind)) if get_origin(field.kind) is Literal else ()
    if field.many:
        return "several", named or languages()
    if field.kind is bool:
        return "choice", (Option("true", words("yes")), Option("false", words("no")))
    if named:
        return "choice", named
    if field.kind is dt.date:
        return "date", ()
    return ("number" if field.kind in (int, Decimal) else "text"), ()


@cache
def languages() -> tuple[Option, ...]:
    """Return every language that a guide can be had in."""
    found = [Locale(tag, "US") for tag in available()]
    return tuple(
        Option(one.tag, one.native_name, lang=one.tag, note="" if one.reviewed else words("draft")) for one in found
    )


def id_of(path: str) -> str:
    """Return the id of a field or part on the page."""
    return re.sub(r"[^a-z0-9]+", "-", path).strip("-")


# ── from what was typed to the values of a case file ────────────────────────────────────────────


def case_values(entries: Entries) -> dict[str, Any]:
    """Return what was typed as the values that a case file holds; what is empty is left out.

    A kit that was picked stands in the place of every container of the form.
    """
    values = _values(Case, "", entries)
    kit = _one(entries, "kit")
    if not kit:
        return values
    return {name: value for name, value in values.items() if name not in EQUIPMENT} | {"kit": kit}


def _values(model: type[Part], within: str, entries: Entries) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, field in fields_of(model).items():
        path, part = f"{within}{name}", field.part
        value: Any
        if path == _BOLUS:
            value = _bolus_values(entries)
        elif part is not None and field.many:
            places = range(1, rows_of(path, entries) + 1)
            value = [_values(part, f"{path}[{place}].", entries) for place in places] or None
        elif part is not None:
            # A part that must be there stands even if it is empty, so that each missing field is named.
            value = _values(part, f"{path}.", entries) or ({} if field.required else None)
        elif field.many:
            value = [text for text in entries.get(path, ()) if text] or None
        else:
            text = _one(entries, path)
            value = typed(text, field.kind) if text else None
        if value is not None:
            found[name] = value
    return found


def _bolus_values(entries: Entries) -> dict[str, str] | None:
    rows = [f"{_BOLUS}[{place}]" for place in range(1, rows_of(_BOLUS, entries) + 1)]
    pairs = [(_one(entries, f"{row}.setting"), _one(entries, f"{row}.dose")) for row in rows]
    return {setting: dose for setting, dose in pairs if setting or dose} or None


def rows_of(path: str, entries: Entries) -> int:
    """Return how many rows of a list were sent; a container that was added and not filled in counts."""
    row = re.compile(re.escape(path) + r"\[([1-9][0-9]?)\]\.")
    sent = {int(match[1]) for name in entries if (match := row.match(name))}
    count = 0
    while count + 1 in sent:
        count += 1
    return count


# ── from the values of a case file to what stands in the fields ─────────────────────────────────


def entries_of(values: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return what stands in the fields for the values of a case file; what has no field is dropped."""
    found: dict[str, list[str]] = {}
    for path, text in _flat("", values):
        found.setdefault(path, []).append(text)
    return found


def _flat(path: str, value: Any) -> Iterator[tuple[str, str]]:
    if path == _BOLUS and isinstance(value, Mapping):
        for place, (setting, dose) in enumerate(value.items(), start=1):
            yield f"{path}[{place}].setting", str(setting)
            yield f"{path}[{place}].dose", str(dose)
    elif isinstance(value, Mapping):
        for name, inner in value.items() if path.count(".") < _DEEPEST else ():
            yield from _flat(f"{path}.{name}" if path else str(name), inner)
    elif isinstance(value, list):
        for place, inner in enumerate(value, start=1):
            yield from _flat(f"{path}[{place}]" if isinstance(inner, Mapping) else path, inner)
    else:
        yield path, str(value).lower() if isinstance(value, bool) else str(value)


# ── containers ──────────────────────────────────────────────────────────────────────────────────


def with_container(kind: str, entries: Entries) -> dict[str, Sequence[str]]:
    """Return the entries with one more container of a kind, empty."""
    part = fields_of(Case)[kind].part
    assert part is not None
    first = next(iter(fields_of(part)))
    return {**entries, f"{kind}[{rows_of(kind, entries) + 1}].{first}": [""]}


def without_container(path: str, entries: Entries) -> dict[str, Sequence[str]]:
    """Return the entries without one container, such as ``portable[2]``, those behind it moved up.

    What was taken out travels on in one field, until it is put back or another one is taken out.
    """
    kind, _, place = path.rstrip("]").partition("[")
    moved: dict[str, Sequence[str]] = {}
    out: dict[str, Sequence[str]] = {}
    for name, texts in entries.items():
        match = re.fullmatch(re.escape(kind) + r"\[([0-9]+)\](\..+)", name)
        if match is None:
            moved[name] = texts
        elif match[1] == place:
            out[match[2]] = texts
        else:
            moved[f"{kind}[{int(match[1]) - (int(match[1]) > int(place))}]{match[2]}"] = texts
    return moved | {TAKEN_OUT: [json.dumps([kind, out])]} if out else moved


def with_container_back(entries: Entries) -> dict[str, Sequence[str]]:
    """Return the entries with the container that was taken out last behind the others of its kind."""
    others = {name: texts for name, texts in entries.items() if name != TAKEN_OUT}
    try:
        kind, fields = json.loads(_one(entries, TAKEN_OUT))
        path = f"{kind}[{rows_of(kind, others) + 1}]"
        back = {f"{path}{name}": [str(text) for text in texts] for name, texts in fields.items()}
    except (ValueError, TypeError, AttributeError, RecursionError):  # nothing was taken out, or it is not ours
        return others
    return others | back


def _one(entries: Entries, path: str) -> str:
    return "".join(entries.get(path, ())[:1]).strip()
