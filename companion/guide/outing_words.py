"""The answer about an outing in words, the same on a phone and in a terminal."""

from markupsafe import Markup

from companion.language.locale import Locale, isolated
from companion.reckoning.outing import Outing


def outing_words(found: Outing, locale: Locale) -> list[Markup]:
    """Return the verdict, then what is left, when to start for home, how many portables the outing takes."""
    return [_verdict(found, locale), *_left(found, locale), _way_home(found, locale), _fills(found, locale)]


def _verdict(found: Outing, locale: Locale) -> Markup:
    if not found.lasts:
        return locale.say("The portable does not last for this outing.")
    if not found.lasts_if_pulses_stop:
        return locale.say("The portable lasts only while the pulses work. If they stop, you may not get home.")
    return locale.say("The portable lasts for this outing.")


def _left(found: Outing, locale: Locale) -> list[Markup]:
    lines = []
    if found.left_min:
        time = locale.duration(found.left_min)
        lines.append(
            {
                # Translators: {time} is a length of time, such as "1 hour 20 minutes"
                "rest": locale.say("At the end, it still lasts at least {time} at rest.", time=time),
                "exertion": locale.say("At the end, it still lasts at least {time} while you walk.", time=time),
                "sleep": locale.say("At the end, it still lasts at least {time} while you sleep.", time=time),
            }[found.busiest]
        )
    if found.left_steady_min:
        lines.append(
            locale.say(
                "If the pulses stop then, it lasts at least {time} on the steady flow that was ordered.",
                time=locale.duration(found.left_steady_min),
            )
        )
    return lines


def _way_home(found: Outing, locale: Locale) -> Markup:
    if found.turn_back_after_min:
        return locale.say(
            "If you go home the way you came, start for home after {time} at the latest.",
            time=locale.duration(found.turn_back_after_min),
        )
    if found.lasts:
        return locale.say("There is not enough to go home the way you came.")
    return locale.say("Do not start. There is not enough to come back.")


def _fills(found: Outing, locale: Locale) -> Markup:
    if found.fills_needed is None:
        return locale.say("No number of full portables is enough. Ask the supplier.")
    return locale.say("Full portables needed for the whole outing: {number}", number=isolated(found.fills_needed))
