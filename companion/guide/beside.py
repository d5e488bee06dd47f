"""What goes beside the guide: it hangs, is carried, or is written on."""

from companion.guide import tables
from companion.guide.compose import Composer
from companion.guide.document import Block, Card, Columns, Form, Heading, Pairs, Paragraph, Section
from companion.guide.pictures import picture
from companion.language.said import Said, joined, typed


def fridge(composer: Composer) -> list[Block]:
    locale = composer.locale
    rules = (
        [composer.values.call_rule]
        if composer.values.round is None
        else [composer.values.round, composer.values.call_rule]
    )
    call = joined(*(composer.said(rule) for rule in rules))
    phones = Pairs(tuple(_without_fire(composer)))
    return [
        Heading(1, locale.say("Your oxygen lasts at least")),
        composer.answers(tables.side_by_side(composer.plan, locale)),
        Columns(((Paragraph(call, "bold"), Paragraph(made_on(composer))), (phones,))),
    ]


def made_on(composer: Composer) -> Said:
    return composer.locale.say(
        "Made on {issue_date}. Ask for a new table before {review_date}.",
        issue_date=composer.values.issue_date,
        review_date=composer.values.review_date,
    )


def _without_fire(composer: Composer) -> list[tuple[Said, Said]]:
    numbers = composer.values
    rows = [(composer.day_label(), composer.said(numbers.phone_day))]
    if numbers.phone_night is not None:
        rows.append((composer.night_label(), composer.said(numbers.phone_night)))
    if numbers.emergency_number is not None:
        rows.append((composer.locale.say("Ambulance"), composer.said(numbers.emergency_number)))
    return rows


def wallet(composer: Composer) -> list[Block]:
    case, locale, numbers = composer.case, composer.locale, composer.values
    name = [Paragraph(locale.alone(typed(case.patient.name)))] if case.patient.name else []
    uses = list(tables.ordered(case, locale))
    if numbers.saturation_target is not None:
        uses.append((locale.say("Finger meter"), composer.said(numbers.saturation_target)))
    phones = _without_fire(composer)
    phones.sort(key=lambda row: str(row[0]) != str(locale.say("Ambulance")))
    made_on = locale.say(
        "Made on {issue_date}. Ask for a new card before {review_date}.",
        issue_date=numbers.issue_date,
        review_date=numbers.review_date,
    )
    patient: tuple[Block, ...] = (
        Heading(2, locale.say("I use oxygen")),
        *name,
        Paragraph(locale.say("My container holds liquid oxygen. Keep it upright. No smoking and no flames.")),
        Pairs(tuple(uses)),
    )
    helpers: tuple[Block, ...] = (
        Heading(2, locale.say("Whom to call")),
        Pairs(tuple(phones)),
        Paragraph(composer.said(numbers.clinic_name)),
        Paragraph(made_on),
    )
    return [
        Heading(1, locale.say("Card to carry")),
        Paragraph(locale.say("Cut along the line. Fold the card twice. Keep it with you.")),
        Card((patient, helpers)),
    ]


def door(composer: Composer) -> list[Block]:
    locale = composer.locale

    def forbidden(symbol: str, words: Said) -> tuple[Block, ...]:
        return picture(locale, "sign", kind="prohibition", symbol=symbol, size=230), Heading(2, words)

    far = locale.say("Keep every flame at least {flame_distance} away.", flame_distance=composer.values.flame_distance)
    return [
        picture(locale, "sign", kind="warning", symbol="fire", size=150),
        Heading(1, locale.say("Oxygen in use")),
        Columns(
            (forbidden("smoking", locale.say("No smoking")), forbidden("flame", locale.say("No open flame"))),
        ),
        Paragraph(far, "large"),
        Paragraph(locale.say("Liquid oxygen is in this home."), "large"),
    ]


def log(composer: Composer) -> list[Block]:
    locale = composer.locale
    heads = [locale.say("Date"), locale.say("Reservoir gauge in the morning")]
    if composer.has.portable:
        heads.append(locale.say("Times you filled the portable"))
    heads += [locale.say("Flow changed, by whom"), locale.say("Anything unusual")]

    def week(caption: Said) -> Form:
        return Form(caption, tuple(heads), ((),) * 7, "week")

    read = joined(locale.say("Read the reservoir gauge each morning."), composer.values.call_rule)
    second = (
        Paragraph(locale.say("Bring this log when you see the clinic.")),
        week(locale.say("Second week")),
    )
    return [
        Heading(1, locale.say("Daily log")),
        Paragraph(read),
        week(locale.say("First week")),
        Section(second, manner="page"),
    ]
