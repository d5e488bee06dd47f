"""What each notice of a plan says to the clinician, in English."""

from companion.guide.grids import container_words
from companion.reckoning.notices import Notice, NoticeCode

NOTICES: dict[NoticeCode, str] = {
    "few hours": "Oxygen is ordered for {hours} hours a day. Guidelines for long-term oxygen ask for at least "
    "15 hours (ATS 2020). Ask the prescriber whether this is meant.",
    "no economiser": "{container}: it has no economiser, or nobody has said that it has one. Flow and boil-off are "
    "counted together, so its times are the shorter ones. Ask the supplier.",
    "no call mark": "{container}: no reading below full is sure to last until a delivery comes. Full, it lasts {days} "
    "days at the worst; the longest wait with what is kept beyond it is {needed} days. The guide tells the patient to "
    "agree on each delivery with the one before. Each reservoir is judged as if it were the only one in use. A second "
    "one, kept full beside it, helps as well.",
    "no call mark on a round": "{container}: no reading below full is sure to last until an extra delivery comes. "
    "Full, it lasts {days} days at the worst; the longest wait is {needed} days. If the supplier misses a round, the "
    "patient depends on the back-up. Each reservoir is judged as if it were the only one in use.",
    "round too long": "{container}: full, it lasts {days} days at the worst; the supplier comes every {gap} days. With "
    "what is kept beyond a delivery, {most} days between two rounds are the most. Ask the supplier to come more often.",
    "larger reservoir": "{container}: a reservoir of at least {kg} kg of oxygen ({litres} L of liquid), with the same "
    "boil-off and gauge, would do.",
    "shorter wait": "A wait of at most {wait} from a call to its delivery, days off included, would do.",
    "a round instead": "Or a supplier who comes without a call, at most {between} apart.",
    "no backup": "There is no back-up cylinder. Liquid oxygen evaporates and is no store for an emergency. Agree with "
    "the supplier and the prescriber what the patient does if the reservoir fails.",
    "backup short": "All full cylinders together last {minutes} in the activity that uses most. A delivery "
    "can take {hours} hours. Ask the supplier for more or larger cylinders.",
    "portable useless": "{container}: even full it gives no time that can be promised in this activity: {activity}. "
    "Ask the supplier for another portable, or the prescriber.",
    "cylinder useless": "{container}: even full it gives no time that can be promised in this activity: {activity}. "
    "Ask the supplier for a larger cylinder.",
    "no steady time": "{container}: when its pulses fail, even full it gives no time that can be promised on the "
    "steady flow in this activity: {activity}. Ask the supplier for another container, and plan a second source for "
    "outings.",
    "fills short": "The hours ordered on a portable are more than its fills a day give for certain. Ask how often it "
    "can be filled, or plan for a second portable.",
    "pauses short": "If the hours on a portable are spread over {hours} hours, what boils off in the pauses is more "
    "than its fills a day give for certain. Ask how the hours are spread, and how often it can be filled.",
    "night on portable": "{container}: full, it lasts {minutes} asleep at the worst, and {asleep} of sleep are ordered "
    "on it. The guide tells the patient to change to the reservoir before going to sleep. Ask the prescriber, or the "
    "supplier for a larger portable.",
    "night on cylinder": "{container}: one full cylinder lasts {minutes} asleep at the worst, and {asleep} of sleep "
    "are ordered. In a night on the back-up somebody must change the cylinder, this often: {changes}. Agree with the "
    "patient who does that, or ask the supplier for larger cylinders.",
    "no working pressure": "{container}: its working pressure is not stated. The highest of any home container was "
    "counted, so its times are the shorter ones. Ask the supplier.",
    "high flow": "{flow} is ordered in this activity: {activity}. Above {limit} liquid equipment may ice up or not "
    "keep its pressure. Ask the supplier whether it gives this flow for hours.",
    "altitude": "The patient lives at {altitude} above the sea. Ask the prescriber whether the flow was set at that "
    "height. A container that is carried up loses a little on the way; no time was made longer.",
    "no emergency number": "No ambulance number is held for the region {region}, because the sources disagree. Set "
    "'emergency_number' in the clinic's policy; until then the guide names none.",
    "no fire number": "No number of the fire service is held for the region {region}, because the sources disagree. "
    "Set 'fire_number' in the clinic's policy; until then the guide names none.",
    "closed days short": "The calendar until the review date has {days} days in a row without deliveries; the case "
    "says {stated}. Ask the supplier, and put the larger figure into the case.",
    "delivery late": "The delivery expected on {date} comes after the clinic's spare days have begun. Ask the supplier "
    "for an earlier one.",
    "round on a day off": "The round of {date} falls on a public holiday, and is counted as not coming. Ask the "
    "supplier on which day they come instead, and tell the patient.",
    "no subdivision": "The case does not say in which part of {region} the patient lives, so the public holidays of "
    "every part count as days off. With 'subdivision' the waits may be shorter.",
    "no margin": "The clinic's policy sets to 0: {margins}. Nothing is taken off for that, so a time may be longer "
    "than what the patient gets. Set it again, unless somebody has decided otherwise.",
}
"""What each notice of a plan says to the clinician."""


def notice_words(notice: Notice) -> str:
    """Return the sentences of one notice."""
    held = dict(notice.values)
    if "container" in held:
        held["container"] = container_words(held["container"])
    if "margins" in held:
        held["margins"] = ", ".join(margin.replace("_", " ") for margin in held["margins"])
    for name in ("wait", "between"):
        if name in held:
            held[name] = f"{held[name]} day{'' if held[name] == 1 else 's'}"
    for name in ("hours", "needed"):
        if name in held:
            held[name] = f"{held[name]:.4g}"
    for name in ("minutes", "asleep"):
        if name in held:
            hours, minutes = divmod(round(held[name]), 60)
            held[name] = f"{hours} h {minutes} min"
    return NOTICES[notice.code].format(**held)
