"""What glows or burns in a home by custom, and what the guide says of it: the flames that a list for all leaves out."""

from collections.abc import Iterator

from companion.case.model import Case
from companion.language.locale import Locale
from companion.language.said import Said, Value


def customs(case: Case, locale: Locale, flame_distance: Value) -> Iterator[Said]:
    """Yield a rule for each custom of a home: those that the clinician named, else those of its languages."""
    said = {
        "incense": locale.say("Do not burn incense. It glows, and in oxygen a glow becomes a flame."),
        "oil-lamp": locale.say("Do not light oil lamps. Use electric ones."),
        "charcoal": locale.say("Do not burn charcoal in your home. It glows for hours, and its sparks fly far."),
        "water-pipe": locale.say("Let nobody smoke a water pipe near you. It is smoking, and its charcoal glows."),
        "cooking-gas": locale.say(
            "Keep a gas cylinder for cooking in another room than your oxygen, at least {flame_distance} away. "
            "Gas that leaks burns faster in oxygen.",
            flame_distance=flame_distance,
        ),
    }
    household = (locale, *(Locale(tag, locale.region) for tag in case.patient.languages or ()))
    customary = {custom for language in household for custom in language.customs}
    held = customary if case.patient.customs is None else case.patient.customs
    yield from (said[custom] for custom in said if custom in held)
