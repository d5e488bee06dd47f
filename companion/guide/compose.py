"""From the parts of a section to blocks of the document, for one case in one language or two.

Conditions are asked, placeholders filled, and each line ``@name`` becomes the blocks that it asks for. A name that
does not exist is an error that says where it stands.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from fractions import Fraction
from functools import cached_property
from typing import get_args

from companion.case.model import Case
from companion.errors import SettingError
from companion.guide import tables, trip_tables
from companion.guide.code import Code
from companion.guide.document import (
    Answers,
    Block,
    Box,
    Drawing,
    Gauges,
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
from companion.guide.pictures import picture
from companion.guide.sections import Call, Group, Listing, Message, Part, When, section
from companion.guide.values import Has, Values, has, values
from companion.language.locale import Locale
from companion.language.said import Said, Value, isolated, marked, runs_of
from companion.reckoning.plan import Plan

BOX_WORDS: dict[str, str] = {
    "prohibition": marked("Do not"),
    "warning": marked("Danger"),
    "instruction": marked("Do this"),
    "safe": marked("This is normal"),
}

EMERGENCIES = {
    "worse": marked("You feel much worse"),
    "no-oxygen": marked("No oxygen comes"),
    "change-to-cylinder": marked("You must change to a cylinder"),
    "running-out": marked("All your oxygen is running out"),
    "low": marked("The reservoir shows {low_mark} or less"),
    "power": marked("In a power cut"),
    "burning": marked("Something burns"),
    "spray": marked("It keeps spraying or hissing"),
    "tipped": marked("The portable fell over"),
    "spill": marked("The reservoir fell over, or liquid spilled"),
    "cold-skin": marked("Cold burned the skin"),
    "cold-eye": marked("Cold liquid hit an eye"),
    "stuck": marked("The portable is stuck"),
    "gauge": marked("The gauge and the weight do not agree"),
    "too-soon": marked("The portable empties too soon"),
}
"""What can go wrong, by the anchor of the heading that says what to do; in the order of the emergency page."""

PLACES = EMERGENCIES | {
    "waiting": marked("A full portable, not used yet"),
    "reservoir-times": marked("How long the reservoir lasts"),
    "cylinder-times": marked("How long a cylinder lasts"),
    "steady-times": marked("How long it lasts if the pulses stop"),
}
"""Everything that a line can lead to, in the words of that line."""


@dataclass(frozen=True)
class Composer:
    """One case with its plan, in one language or two, ready to become blocks."""

    case: Case
    plan: Plan
    locale: Locale
    code: Code | None
    """What the QR code holds; None where the page has none."""

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
            if isinstance(block, Items) and isinstance(last, Items) and not block.numbered and not last.numbered:
                blocks[-1] = Items(last.items + block.items)
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
                    yield Items(tuple(self.say(item) for item in part.items), part.numbered)
                case When():
                    yield from self._blocks(part.then if self._asked(part) else part.otherwise)
                case Group():
                    yield self._group(part)
                case Call():
                    yield from self._called(part)

    def _asked(self, part: When) -> bool:
        if part.condition == "table_address":
            return self.code is not None and self.code.base is not None
        if part.condition not in CONDITIONS:
            raise SettingError(
                f"{part.where}: there is no condition '{part.condition}'. There are: {', '.join(CONDITIONS)}."
            )
        asked = self.has if hasattr(self.has, part.condition) else self.values
        return bool(getattr(asked, part.condition))

    def _group(self, group: Group) -> Block:
        match group.name, group.words:
            case "box", (sign,) if sign in BOX_WORDS:
                return self.box(sign, self.blocks(group.parts))
            case "step", (number,):
                return Step(
                    self.locale.say("Step {number}", number=number),
                    self.blocks(group.parts),
                    picture(self.locale, "fill_step", step=int(number)),
                )
        raise SettingError(f"{group.where}: '::: {group.name} {' '.join(group.words)}' is not known.")

    def box(self, sign: str, blocks: tuple[Block, ...]) -> Box:
        """Return blocks in a box with its sign and word."""
        kind: Sign = next(kind for kind in get_args(Sign) if kind == sign)
        shown = picture(self.locale, "sign", kind=sign, symbol="general", size=48)
        return Box(kind, shown, self.locale.say(BOX_WORDS[sign]), blocks)

    def _called(self, call: Call) -> Iterator[Block]:
        match call.name, call.words:
            case "table", (name,) if name in TABLES:
                yield from TABLES[name](self)
            case "drawing", (name, *params):
                yield self._drawing(name, params)
            case "parts", (kind,) if kind in PARTS:
                yield PARTS[kind](self)
            case "see", names if set(names) <= set(PLACES):
                yield See(tuple(self.link(name) for name in names))
            case "lines", ():
                yield Lines()
            case "code", ():
                assert self.code is not None, "a section with a code is left out where there is none"
                address = self.locale.alone(isolated(self.code.base)) if self.code.base else None
                label = self.locale.languages[0].say("A code for the camera of a phone.")
                yield CodeBlock(self.code.content, label, address)
            case _:
                raise SettingError(f"{call.where}: '@{call.name} {' '.join(call.words)}' is not known.")

    def _drawing(self, name: str, params: list[str]) -> Drawing:
        pairs = dict(param.split("=") for param in params)
        return picture(self.locale, name.replace("-", "_"), **{key: int(value) for key, value in pairs.items()})

    def link(self, anchor: str) -> Link:
        """Return a line that leads to a heading, in the words of that line."""
        return Link(anchor, self.say(PLACES[anchor]))

    def phone_table(self) -> Phones:
        """Return whom to call and the number, as the home has them."""
        numbers = self.values
        rows = [(self.day_label(), numbers.phone_day)]
        if numbers.phone_night is not None:
            rows.append((self.night_label(), numbers.phone_night))
        if numbers.emergency_number is not None:
            both = numbers.emergency_number == numbers.fire_number
            who = self.locale.say("Ambulance and fire service") if both else self.locale.say("Ambulance")
            rows.append((who, numbers.emergency_number))
        if numbers.fire_number is not None and numbers.fire_number != numbers.emergency_number:
            rows.append((self.locale.say("Fire service"), numbers.fire_number))
        return Phones(self.locale.say("Whom to call"), tuple((who, self.said(number)) for who, number in rows))

    def day_label(self) -> Said:
        """Return who answers the number by day."""
        if self.has.night_phone:
            return self.locale.say("Clinic and supplier: office hours")
        return self.locale.say("Clinic and supplier")

    def night_label(self) -> Said:
        """Return who answers the number at night."""
        return self.locale.say("Clinic and supplier: other times")

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

    def gauge(self, name: str, level: Fraction, divisions: int) -> Drawing:
        """Return the drawing of a gauge that shows a level, as a share of full."""
        return picture(self.locale, name, level=level, divisions=divisions)


CONDITIONS = (*(item.name for item in (*fields(Has), *fields(Values))), "table_address")
"""What ``::: if`` can ask: whether the case has some equipment, or a value that a sentence may hold."""


def _tables(of: Callable[[Composer], list[tables.Table]]) -> Callable[[Composer], Iterator[Block]]:
    def blocks(composer: Composer) -> Iterator[Block]:
        return (composer.answers(table) for table in of(composer))

    return blocks


def _deliveries(composer: Composer) -> Iterator[Block]:
    found = tables.deliveries(composer.plan, composer.locale)
    yield from (composer.answers(table) for table in found)
    if not found:
        yield Paragraph(
            composer.locale.say("No delivery is needed in the next eight weeks, if you use what was ordered.")
        )


def _phones(composer: Composer) -> Iterator[Block]:
    yield composer.phone_table()


def _gauge_rows(composer: Composer) -> Iterator[Block]:
    for divisions, levels in tables.gauge_rows(composer.plan, composer.locale):
        yield Gauges(tuple((composer.gauge("gauge", level, divisions), words) for level, words in levels))


def _stop_readings(composer: Composer) -> Iterator[Block]:
    yield composer.answers(tables.stop_readings(composer.case, composer.plan, composer.locale))


TABLES: dict[str, Callable[[Composer], Iterator[Block]]] = {
    "durations-portable": _tables(lambda it: tables.durations(it.plan, "portable", it.locale)),
    "trips": _tables(lambda it: trip_tables.trips(it.plan, it.locale)),
    "steady": _tables(lambda it: tables.steady(it.plan, it.locale)),
    "durations-reservoir": _tables(lambda it: tables.durations(it.plan, "reservoir", it.locale)),
    "durations-cylinder": _tables(lambda it: tables.durations(it.plan, "cylinder", it.locale)),
    "standing": _tables(lambda it: tables.standing(it.plan, it.locale)),
    "flows": _tables(lambda it: tables.flows(it.plan, it.locale)),
    "deliveries": _deliveries,
    "phones": _phones,
    "gauge-row": _gauge_rows,
    "stop-readings": _stop_readings,
}
"""What ``@table NAME`` asks for."""


def _reservoir_parts(composer: Composer) -> Parts:
    has = composer.has
    shown = picture(
        composer.locale, "reservoir", callouts=True, humidifier=has.humidifier, water_bottle=has.water_bottle
    )
    names = [
        marked("Contents gauge"),
        marked("Fill coupling"),
        marked("Release for the coupling"),
        marked("Flow control"),
        marked("Oxygen outlet"),
        *([marked("Humidifier")] if has.humidifier else []),
        *([marked("Water bottle")] if has.water_bottle else []),
        marked("Handles"),
        marked("Roller base"),
    ]
    return Parts(shown, tuple(composer.locale.say(name) for name in names))


def _portable_parts(composer: Composer) -> Parts:
    trolley = composer.has.trolley
    shown = picture(composer.locale, "portable", callouts=True, carrier="trolley" if trolley else "bag")
    names = [
        marked("Strap"),
        marked("Contents gauge"),
        marked("Flow control"),
        marked("Fill valve"),
        marked("Fill coupling"),
        marked("Trolley") if trolley else marked("Carrying bag"),
        marked("Oxygen outlet"),
    ]
    return Parts(shown, tuple(composer.locale.say(name) for name in names))


def _cylinder_parts(composer: Composer) -> Parts:
    names = [
        marked("Pressure gauge"),
        marked("Flow control"),
        marked("Valve"),
        marked("Stand"),
        marked("Oxygen outlet"),
    ]
    return Parts(
        picture(composer.locale, "cylinder", callouts=True), tuple(composer.locale.say(name) for name in names)
    )


PARTS: dict[str, Callable[[Composer], Parts]] = {
    "reservoir": _reservoir_parts,
    "portable": _portable_parts,
    "cylinder": _cylinder_parts,
}
"""What ``@parts KIND`` asks for: the drawing of a container with its numbered parts."""
