"""From the parts of a section to blocks of the document, for one case in one language or two.

Conditions are asked, placeholders filled, and each line ``@name`` becomes the blocks that it asks for. A name that
does not exist is an error that says where it stands.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from functools import cached_property
from typing import get_args

from companion.case.model import Case
from companion.errors import SettingError
from companion.guide import reservoir_table, tables, trip_tables
from companion.guide.code import Code
from companion.guide.conditions import Has, has
from companion.guide.customs import customs
from companion.guide.document import (
    Answers,
    Beside,
    Block,
    Box,
    Columns,
    Drawing,
    Heading,
    Items,
    Lines,
    Link,
    Paragraph,
    Parts,
    Phones,
    Row,
    See,
    Sign,
    Step,
)
from companion.guide.document import Code as CodeBlock
from companion.guide.illustrations import ILLUSTRATIONS, PARTS, Home, illustration
from companion.guide.phones import phone_rows
from companion.guide.pictures import picture
from companion.guide.sections import Call, Group, Listing, Message, Part, When, headings, section, title
from companion.guide.values import Values, values
from companion.language.locale import Locale
from companion.language.said import Said, Value, isolated, runs_of
from companion.reckoning.plan import Plan


@dataclass(frozen=True)
class Composer:
    """One case with its plan, in one language or two, ready to become blocks."""

    case: Case
    plan: Plan
    locale: Locale
    code: Code | None
    """What the QR code holds; None where the page has none."""
    sections: tuple[str, ...] = ()
    """The sections of the document, which lines can lead to."""

    @cached_property
    def has(self) -> Has:
        """Return what the case has, for the conditions of the sections."""
        return has(self.case, self.plan)

    @cached_property
    def values(self) -> Values:
        """Return what the placeholders hold."""
        return values(self.case, self.plan, self.locale)

    @cached_property
    def _placeholders(self) -> dict[str, Value]:
        held = {item.name: getattr(self.values, item.name) for item in fields(self.values)}
        return {name: value for name, value in held.items() if value is not None}

    @cached_property
    def _home(self) -> Home:
        first = self.locale.languages[0]
        return Home(self.case, self.plan, values(self.case, self.plan, first), first)

    def say(self, message: str) -> Said:
        """Return a message with every placeholder filled from the case."""
        return self.locale.say(message, **self._placeholders)

    def section(self, name: str) -> tuple[Block, ...]:
        """Return the blocks of one section."""
        return self.blocks(section(name))

    def blocks(self, parts: tuple[Part, ...]) -> tuple[Block, ...]:
        """Return parts as blocks. Lists that a condition cut in two are one."""
        blocks: list[Block] = []
        for block in self._blocks(parts):
            last = blocks[-1] if blocks else None
            if isinstance(block, See) and not block.links:
                # In the pages to live by alone, what an index leads to is not there; nor are the words above it needed.
                blocks[-1:] = []
            elif isinstance(block, Items) and isinstance(last, Items) and _goes_on(last, block):
                blocks[-1] = Items(last.items + block.items, last.numbered, last.start)
            else:
                blocks.append(block)
        return tuple(blocks)

    def _blocks(self, parts: tuple[Part, ...]) -> Iterator[Block]:
        for part in parts:
            match part:
                case Message("heading"):
                    yield Heading(
                        3 if part.level == 3 else 2, self.say(part.text), (part.anchor,) if part.anchor else ()
                    )
                case Message():
                    yield Paragraph(self.say(part.text))
                case Listing():
                    yield Items(tuple(self.say(item) for item in part.items), part.numbered, part.start)
                case When():
                    yield from self._blocks(part.then if self._asked(part) else part.otherwise)
                case Group():
                    yield from self._group(part)
                case Call():
                    yield from self._called(part)

    def _asked(self, part: When) -> bool:
        if part.condition == "code":
            return self.code is not None
        if part.condition not in CONDITIONS:
            raise SettingError(
                f"{part.where}: there is no condition '{part.condition}'. There are: {', '.join(CONDITIONS)}."
            )
        asked = self.has if hasattr(self.has, part.condition) else self.values
        return bool(getattr(asked, part.condition))

    def _group(self, group: Group) -> Iterator[Block]:
        match group.name, group.words:
            case "box", (sign,) if sign in get_args(Sign):
                yield self.box(sign, self.blocks(group.parts))
            case "step", (number,):
                shown = illustration("fill-step", self._home, step=int(number))
                # The words of the step say what its caption would.
                yield Step(int(number), self.blocks(group.parts), replace(shown, caption=None) if shown else None)
            case "beside", (name,) if name in ILLUSTRATIONS:
                yield from _beside(self.blocks(group.parts), illustration(name, self._home))
            case "columns", ():
                yield Columns(tuple(self.blocks(column) for column in _cut(group.parts)))
            case _:
                raise SettingError(f"{group.where}: '::: {group.name} {' '.join(group.words)}' is not known.")

    def box(self, sign: str, blocks: tuple[Block, ...]) -> Box:
        """Return blocks in a box with its sign."""
        kind: Sign = next(kind for kind in get_args(Sign) if kind == sign)
        return Box(kind, picture(self.locale, "sign", kind=sign, symbol="general", size=48), blocks)

    def _called(self, call: Call) -> Iterator[Block]:
        match call.name, call.words:
            case "table", (name,) if name in TABLES:
                yield from TABLES[name](self)
            case "parts", (kind,) if kind in PARTS:
                yield self._parts(kind)
            case "say-on-phone", ():
                assert self.values.say_on_phone is not None, "a section asks whether there is something to say"
                yield Paragraph(self.values.say_on_phone)
            case "customs", ():
                yield Items(tuple(customs(self.case, self.locale, self.values.flame_distance)))
            case "see", names:
                yield See(tuple(self._links(names, call.where)))
            case "lines", ():
                yield Lines()
            case "lines", ("fill",):
                yield Lines(fill=True)
            case "code", ():
                assert self.code is not None, "a section with a code is left out where there is none"
                address = self.locale.alone(isolated(self.code.base)) if self.code.base else None
                label = self.locale.languages[0].say("A code for the camera of a phone.")
                yield CodeBlock(self.code.content, label, address)
            case _:
                raise SettingError(f"{call.where}: '@{call.name} {' '.join(call.words)}' is not known.")

    def _parts(self, kind: str) -> Parts:
        shown, names = PARTS[kind](self.case, self.locale)
        return Parts(shown, tuple(self.locale.say(name) for name in names))

    @cached_property
    def _headings(self) -> dict[str, str]:
        """Return the headings of the document to which lines can lead, by the name of the section or their own."""
        found: dict[str, str] = {}
        for name in self.sections:
            found[name] = title(name)
            for part in self._said(section(name)):
                if isinstance(part, Message) and part.anchor:
                    found[part.anchor] = part.text
        return found

    def _said(self, parts: tuple[Part, ...]) -> Iterator[Part]:
        """Yield the parts that this case has."""
        for part in parts:
            if isinstance(part, When):
                yield from self._said(part.then if self._asked(part) else part.otherwise)
            elif isinstance(part, Group):
                yield from self._said(part.parts)
            else:
                yield part

    def _links(self, names: Sequence[str], where: str) -> Iterator[Link]:
        """Yield a line for each heading of the document among these, in the words of that heading."""
        unknown = set(names) - headings()
        if unknown:
            raise SettingError(f"{where}: no heading has the name '{min(unknown)}'.")
        for name in names:
            if name in self._headings:
                yield Link(name, self.say(self._headings[name]))

    def phone_table(self) -> Phones:
        """Return whom to call and the number, as the home has them."""
        return Phones(self.locale.say("Whom to call"), phone_rows(self.case, self.locale))

    def said(self, value: Value) -> Said:
        """Return a value as a text of its own."""
        return value if isinstance(value, Said) else self.locale.alone(*runs_of(value))

    def answers(self, table: tables.Table) -> Answers:
        """Return a computed table as a block, its gauges drawn."""
        return Answers(
            table.caption,
            table.corner,
            table.columns,
            tuple(
                Row(
                    row.head,
                    row.cells,
                    None if row.level is None else self.gauge(table.gauge, row.level, table.divisions),
                )
                for row in table.rows
            ),
        )

    def gauge(self, kind: str, level: Fraction, divisions: int) -> Drawing:
        """Return the drawing of a kind of gauge that shows a level, as a share of full."""
        return picture(self.locale, "gauge", kind=kind, level=level, divisions=divisions)


def _goes_on(last: Items, more: Items) -> bool:
    """Return whether a list goes on with another one."""
    if last.numbered != more.numbered:
        return False
    return not more.numbered or more.start == last.start + len(last.items)


def _beside(blocks: tuple[Block, ...], shown: Drawing | None) -> Iterator[Block]:
    """Yield blocks with a drawing beside them: beside a table among them, or, where that is wide, what is above it."""
    tables = [place for place, block in enumerate(blocks) if isinstance(block, Answers)]
    if not shown or not tables:
        yield from (Beside(blocks, shown),) if shown else blocks
        return
    first = max((place for place in range(tables[0]) if isinstance(blocks[place], Heading)), default=tables[0])
    above, table = blocks[:first], blocks[first:]
    wide = any(isinstance(block, Answers) and len(block.columns) > 1 for block in table)
    yield from (Beside(above, shown), *table) if wide else (*above, Beside(table, shown))


def _cut(parts: tuple[Part, ...]) -> Iterator[tuple[Part, ...]]:
    """Yield the parts of each column."""
    column: list[Part] = []
    for part in parts:
        if isinstance(part, Call) and part.name == "next":
            yield tuple(column)
            column = []
        else:
            column.append(part)
    yield tuple(column)


CONDITIONS = (*(item.name for item in (*fields(Has), *fields(Values))), "code")
"""What ``::: if`` can ask: whether the case has some equipment, or a value that a sentence may hold."""


def _tables(
    of: Callable[[Composer], list[tables.Table]], *, captioned: bool = False
) -> Callable[[Composer], Iterator[Block]]:
    def blocks(composer: Composer) -> Iterator[Block]:
        found = of(composer)
        # Of one table alone, the heading and the words above it say what it is, and the head of its one column.
        told = (
            [replace(found[0], caption=None)]
            if len(found) == 1 and (not captioned or len(found[0].columns) == 1)
            else found
        )
        return (composer.answers(table) for table in told)

    return blocks


MOST_DELIVERIES = 10
"""One that comes on another day makes all later rows wrong: a longer table is paper for nothing."""


def _deliveries(composer: Composer) -> Iterator[Block]:
    found = tables.deliveries(composer.plan, composer.locale)
    for table in found:
        yield composer.answers(replace(table, caption=None, rows=table.rows[:MOST_DELIVERIES]))
    if not found:
        yield Paragraph(
            composer.locale.say("No delivery is needed in the next eight weeks, if you use what was ordered.")
        )


def _phones(composer: Composer) -> Iterator[Block]:
    yield composer.phone_table()


TABLES: dict[str, Callable[[Composer], Iterator[Block]]] = {
    "durations-portable": _tables(lambda it: tables.durations(tables.awake(it.plan), "portable", it.locale)),
    "durations-cylinder": _tables(lambda it: tables.durations(it.plan, "cylinder", it.locale), captioned=True),
    "weights": _tables(lambda it: tables.weights(it.plan, it.locale)),
    "standing": _tables(lambda it: tables.standing(tables.awake(it.plan), it.locale)),
    "steady": _tables(lambda it: [tables.undrawn(table) for table in tables.steady(tables.awake(it.plan), it.locale)]),
    "trips": _tables(lambda it: trip_tables.trips(it.plan, it.locale)),
    "reservoir": _tables(lambda it: reservoir_table.reservoirs(it.case, it.plan, it.locale), captioned=True),
    "flows": _tables(lambda it: tables.flows(it.plan, it.locale)),
    "deliveries": _deliveries,
    "phones": _phones,
}
"""What ``@table NAME`` asks for."""
