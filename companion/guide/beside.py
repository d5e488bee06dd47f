"""What goes beside the guide: it hangs, is carried, or is written on."""

from collections.abc import Iterator

from companion.guide import beside_tables
from companion.guide.code import Code as ForPhone
from companion.guide.compose import Composer
from companion.guide.document import (
    Block,
    Card,
    Code,
    Columns,
    Form,
    Heading,
    Items,
    Pairs,
    Paragraph,
    Section,
)
from companion.guide.phones import phone_rows
from companion.guide.pictures import picture
from companion.guide.reservoir_table import waits_for_the_mark
from companion.language.locale import Locale
from companion.language.said import Said, joined, typed, whole

CALLS_AT_THE_DOOR = 2
"""How many numbers stand on the sign: for an emergency, and whose oxygen it is."""

WEEKS = 4
"""How many weeks the log is for, a page each."""


def made_on(composer: Composer) -> Said:
    """Return when a sheet with times was made, and until when it may be used."""
    return composer.locale.say(
        "Made on {issue_date}. Ask for a new table before {review_date}.",
        issue_date=composer.values.issue_date,
        review_date=composer.values.review_date,
    )


def draft_line(composer: Composer) -> list[Said]:
    """Return the line that says of a language that nobody qualified has checked it."""
    if composer.locale.reviewed:
        return []
    return [composer.locale.languages[0].say("Draft: no qualified translator has checked it yet")]


def _phone_code(code: ForPhone, locale: Locale) -> Code:
    return Code(code.content, locale.say("A code for the camera of a phone."), None)


def phones(composer: Composer) -> Pairs:
    """Return whom to call, the emergency number first."""
    return Pairs(composer.phone_table().rows)


def _numbers(composer: Composer) -> Pairs:
    """Return whom to call without the hours, for which a card and a sign on a door have no room."""
    return Pairs(phone_rows(composer.case, composer.locale, with_hours=False))


# ── on the fridge ───────────────────────────────────────────────────────────────────────────────


def fridge(composer: Composer) -> list[Block]:
    """Return the one page that hangs where everybody sees it: how long, and what to do."""
    case, plan, locale = composer.case, composer.plan, composer.locale
    whose = [locale.say("For {name}.", name=typed(case.patient.name))] if case.patient.name else []
    liquid = [beside_tables.reservoirs(case, plan, locale)]
    if case.portable:
        liquid.append(beside_tables.portables(plan, locale))
    below: list[tuple[Block, ...]] = [(phones(composer),)]
    if case.cylinder:
        below.insert(0, (composer.answers(beside_tables.cylinders(plan, locale)),))
    # A code without an address holds the same few times that stand here.
    if composer.code is not None and composer.code.base is not None:
        below.append((_phone_code(composer.code, locale),))
    return [
        Heading(1, locale.say("Your oxygen lasts at least")),
        Paragraph(joined(*_rules(composer)), "bold"),
        Columns(tuple((composer.answers(table),) for table in liquid)),
        Columns(tuple(below)),
        Paragraph(joined(*whose, made_on(composer), *draft_line(composer))),
    ]


def _rules(composer: Composer) -> Iterator[Said]:
    """Yield how to read the tables, and what of the rule for calling does not go by the gauge."""
    locale, values = composer.locale, composer.values
    yield locale.say("Plan for these times and for no more.")
    yield (
        locale.say("Between two marks, take the lower time, and do what the higher mark says.")
        if waits_for_the_mark(composer.case, composer.plan)
        else locale.say("Between two marks, follow the lower mark.")
    )
    if values.round is not None:
        yield values.round
    if not composer.has.call_mark:
        yield values.call_rule


# ── in the pocket ───────────────────────────────────────────────────────────────────────────────


def wallet(composer: Composer) -> list[Block]:
    """Return the card for the pocket: what an ambulance crew has to know."""
    locale = composer.locale
    how = (
        locale.say("Cut along the dashed line."),
        locale.say("Fold it back along dotted line 1, so that the words are outside."),
        locale.say("Then fold it along dotted line 2, so that “I use oxygen” is in front."),
        # 86 × 54 mm: ID-1 of ISO/IEC 7810
        locale.say("It is now as large as a bank card. That is why its letters are small."),
        locale.say("Write on the empty lines with a pen."),
    )
    return [
        Heading(1, locale.say("Card to carry")),
        Items(how, numbered=True),
        Card(
            tuple(_for_the_crew(composer)),
            (tuple(_what_is_ordered(composer)), tuple(_whom_to_call(composer))),
            tuple(_who_i_am(composer)),
        ),
        *_to_a_phone(composer),
    ]


def _to_a_phone(composer: Composer) -> Iterator[Block]:
    """Yield the code beside the card, where it has an address: a face of the card is too small for it to be read."""
    if composer.code is not None and composer.code.base is not None:
        how = Paragraph(composer.locale.say("Point the camera of a phone at this code to see your times there."))
        yield Columns(((how,), (_phone_code(composer.code, composer.locale),)))


def _for_the_crew(composer: Composer) -> Iterator[Block]:
    case, locale, target = composer.case, composer.locale, composer.values.saturation_target
    yield Heading(2, locale.say("I use oxygen"))
    if case.patient.name:
        yield Paragraph(locale.alone(typed(case.patient.name)), "bold")
    if target is None:
        # Nobody has set one, and none is guessed.
        yield Pairs(((locale.say("Target SpO₂"), None),))
    else:
        yield Paragraph(
            # Translators: for an ambulance crew, in the words of medicine; {target} is a range such as 88 to 92 %
            locale.say(
                "**Titrate oxygen to an SpO₂ of {target}.** Give more only where life-saving care needs it.",
                target=whole(target),
            )
        )
    yield Paragraph(locale.say("Inside: the flow that is ordered, and whom to call."))


def _what_is_ordered(composer: Composer) -> Iterator[Block]:
    case, locale = composer.case, composer.locale
    yield Heading(2, locale.say("My oxygen"))
    yield Pairs(tuple(beside_tables.ordered(case, locale)))
    if composer.has.portable:
        yield Paragraph(locale.say("My portable holds liquid oxygen. Keep it upright, and away from flames."))
    else:
        yield Paragraph(locale.say("My reservoir holds liquid oxygen. Keep it upright, and away from flames."))


def _whom_to_call(composer: Composer) -> Iterator[Block]:
    locale = composer.locale
    yield Heading(2, locale.say("Whom to call"))
    yield _numbers(composer)
    kin = composer.case.patient.next_of_kin
    yield Pairs(((locale.say("Next of kin"), locale.alone(typed(f"{kin.name}, {kin.phone}")) if kin else None),))


def _who_i_am(composer: Composer) -> Iterator[Block]:
    case, locale, values = composer.case, composer.locale, composer.values
    told = (
        (locale.say("Diagnosis"), case.prescription.diagnosis),
        (locale.say("Allergies"), case.patient.allergies),
        (locale.say("Prescriber"), case.prescription.prescriber),
    )
    # What nobody has entered is a line to write on.
    yield Pairs(tuple((who, locale.alone(typed(said)) if said else None) for who, said in told))
    yield Paragraph(composer.said(values.clinic_name))
    yield Paragraph(
        locale.say(
            "Made on {issue_date}. Ask for a new card before {review_date}.",
            issue_date=values.issue_date,
            review_date=values.review_date,
        )
    )


# ── at the door ─────────────────────────────────────────────────────────────────────────────────


def door(composer: Composer) -> list[Block]:
    """Return the sign for the door."""
    locale, values = composer.locale, composer.values

    def forbidden(symbol: str, words: Said) -> tuple[Block, ...]:
        return picture(locale, "sign", kind="prohibition", symbol=symbol, size=190), Heading(2, words)

    return [
        picture(locale, "sign", kind="warning", symbol="oxidizer", size=170),
        Heading(1, locale.say("Oxygen in use")),
        Paragraph(locale.say("Liquid oxygen is in this home."), "large"),
        Columns(
            (forbidden("smoking", locale.say("No smoking")), forbidden("flame", locale.say("No open flame"))),
        ),
        Paragraph(
            locale.say("Keep every flame at least {flame_distance} away.", flame_distance=values.flame_distance),
            "large",
        ),
        Pairs(_numbers(composer).rows[:CALLS_AT_THE_DOOR]),
    ]


# ── to write on ─────────────────────────────────────────────────────────────────────────────────


def log(composer: Composer) -> list[Block]:
    """Return the daily log, a page for each week."""
    locale = composer.locale
    first = (
        locale.say("Read the reservoir gauge each morning."),
        composer.values.call_rule,
        locale.say("Bring this log when you see the clinic. You may copy it."),
    )
    return [
        Heading(1, locale.say("Daily log")),
        Paragraph(joined(*first)),
        *(_week(number, composer) for number in range(1, WEEKS + 1)),
    ]


def _week(number: int, composer: Composer) -> Section:
    has, locale = composer.has, composer.locale
    heads = [
        locale.say("Date"),
        locale.say("Reservoir gauge in the morning"),
        locale.say("Delivery"),
        *([locale.say("Portable filled at")] if has.portable else []),
        *([locale.say("Finger meter")] if has.saturation_target else []),
        *([locale.say("Cylinder used")] if has.cylinder else []),
        locale.say("Flow changed, by whom"),
        locale.say("Anything unusual"),
    ]
    caption = locale.say("Week {number}", number=number)
    return Section((Form(caption, tuple(heads), ((),) * 7, "week"),), manner="plain" if number == 1 else "page")
