"""Every sentence of the clinic's desk, in English, in one place: clinicians read them, patients never.

``tongue.py`` says them in another language.
"""

import re
from collections.abc import Callable, Container

WORDS = {
    # ── the page ──
    "title": "Home oxygen guides: the clinic's desk",
    "promise": "Nothing about a patient is kept on this server or written to a log. Save the case to a file on your "
    "own machine. Until you close this tab, your browser remembers what you typed.",
    "no substitute": "The guide does not replace the prescriber, the supplier's instructions or local codes.",
    "patient": "The patient",
    "confirm": "This follows from it; each can be changed:",
    "rest of order": "Something else in the order: pulses, a mask, readings, names for the card",
    "equipment": "The equipment",
    "clinic": "The clinic, its supplier and its margins",
    "files": "The files",
    "beside": "Paper and times",
    "on paper": "As it will print",
    "times": "How long each container lasts",
    # ── questions ──
    "applies": "(if it applies)",
    "group applies": "(leave it empty if it does not apply)",
    "pick": "Pick one",
    "first language": "Language",
    "hint first": "in which the patient reads",
    "second language": "Second language",
    "hint second": "in which a helper reads",
    "no second": "None",
    "kit": "Kit",
    "kit hint": "the equipment in this home",
    "hint name": "as it is printed on the guide",
    "hint flow": "L/min",
    "hint hours": "hours a day",
    "no kit": "None of these: the equipment is entered below",
    "from room": "If left empty: {value}",
    "read": "Read as {value}",
    "pulses": "Pulses",
    "setting": "Setting",
    "hint setting": "the number on the conserver, such as '2'",
    "dose": "One pulse",
    "hint dose": "mL of one pulse at this setting from the device's own data, such as '22.8 mL'",
    # ── buttons ──
    "check": "Check, and show the table",
    "make": "Make the guide and its sheets",
    "save": "Save the case to a file",
    "print": "Open this sheet to print it",
    "new": "Next patient",
    "open": "Open",
    "open file": "Open a file: a case, a FHIR bundle, a kit or an answer from the supplier",
    "sheets": "Sheets to make",
    "sheet guide": "the whole guide",
    "sheet short": "the pages to live by, alone",
    "sheet fridge": "sheet for the fridge",
    "sheet wallet": "card for the pocket",
    "sheet door": "sign for the door",
    "sheet log": "daily log",
    "sheet clinician": "clinician's copy",
    "shown language": "Language shown",
    "as picked": "languages of the guide",
    "page": "Page {number} of the sheet shown",
    "show sheet": "Sheet shown",
    "add": "Add a {container}",
    "remove": "Take {container} out",
    "put back": "Put back what was taken out",
    "open kit": "Change this kit, or its equipment for this patient",
    "keep kit": "Keep this equipment as a kit",
    "kit name": "Name of the kit",
    "retire kit": "Retire the kit: offer it to nobody anew",
    "ask supplier": "Ask the supplier: save the list of what is missing",
    "keep clinic": "Keep these as the clinic's own settings",
    "keep clinic hint": "Kept once, for every patient: name, phones, supplier, region, delivery and margins as they "
    "stand above; the prescriber, for the list; and as usual, unless a case says otherwise: how the oxygen is "
    "breathed, humidifier, target saturation, hours without oxygen, the time until the review.",
    # ── what is said back ──
    "wrong": "Missing or wrong: {count}",
    "still wrong": "Still missing or wrong: {count}. The table appears when nothing is.",
    "first": "Before you hand it over",
    "problem read": "Read: {text}",
    "problem right": "Right: {text}",
    "problem ask": "Ask: {text}",
    "meant": "This is meant",
    "meant so": "This is meant: {text}",
    "lost": "The table cannot be brought up to date now. The times of before are taken away: they may be wrong. Press "
    "'Check, and show the table', or start the desk again.",
    "page lost": "The page cannot be shown now. Press 'Check, and show the table'.",
    "making": "Making the guide and its sheets. This takes some seconds.",
    "done": "Done: {file} is in your download folder.",
    "choose": "Choose a file first, then press 'Open'.",
    "of today": "The date of this guide is now {day}, today. The file says {read}.",
    "compared": "Old beside new: what the change moves in guide, card and sign",
    "same": "Nothing in them reads otherwise than in the case that you opened.",
    "moved old": "Before:",
    "moved new": "Now:",
    "out": "{container} was taken out.",
    "back": "{container} is back.",
    "kit kept": "Kept as the kit '{name}'. It holds the equipment and nothing about the patient.",
    "kit half": "Kept as the kit '{name}', with facts still missing: {count}. They are asked of the supplier.",
    "kit unnamed": "Give the kit a name of letters and figures first.",
    "kit retired": "The kit '{name}' is offered to nobody anew. Cases that name it can still be made.",
    "kit wrong": "This equipment cannot be kept before it is right: {problem}",
    "kit used": "Guides made with it here: {count}.",
    "kit moved": "The kit '{name}' has changed since this case was saved. The case keeps its own equipment; pick the "
    "kit above to take it as it is now.",
    "kit answer": "The file was read into the kit '{name}'. Facts still missing: {count}. Changed: {changes}",
    "nothing changed": "nothing",
    "clinic kept": "Kept as the clinic's own settings. They hold nothing about a patient.",
    "clinic wrong": "The clinic's settings cannot be kept before they are right: {problem}",
    "room damaged": "The clinic's folder cannot be used, so nothing of it is offered. Mend the file, or move it away: "
    "{problem}",
    "bundle": "Read from a FHIR bundle. What it does not say is listed as missing.",
    # ── the line of consequences ──
    "rest hours": "At rest {hours}",
    "off hours": "without oxygen {hours}",
    "portable hours": "on the portable {hours}",
    "fills": "fills of the portable a day: {cold} cold, {warm} warm",
    "interface": "by {interface}",
    "humidifier": "humidifier: {answer}",
    "target": "target saturation {low} to {high} %",
    "review": "review by {day}",
    "lead": "delivery {days} days after a call",
    "round": "the supplier comes on {weekdays}",
    "yes": "yes",
    "no": "no",
    "draft": "draft, not reviewed",
    # ── pieces of messages that a check puts together ──
    "unlikely here": "{what} is usually {least} to {most}; here it is {value}",
    "unlikely": "{what} is usually {least} to {most}",
    "unlikely most here": "{what} is usually up to {most}; here it is {value}",
    "unlikely most": "{what} is usually up to {most}",
    "both": "the prescriber and {other}",
    "day": "{number} day",
    "days": "{number} days",
}

LABELS = {
    # Paths of fields, else their last names, where the name of the field is not how a clinician says it.
    "issued": "Date of this guide",
    "patient.name": "Name",
    "prescription.rest.flow": "Flow at rest",
    "prescription.exertion.flow": "Flow walking",
    "prescription.sleep.flow": "Flow asleep",
    "prescription.rest.hours_per_day": "Hours at rest",
    "prescription.exertion.hours_per_day": "Hours out, walking",
    "prescription.sleep.hours_per_day": "Hours asleep",
    "prescription.hours_off_oxygen": "Hours without oxygen",
    "prescription.interface": "Breathed by",
    "rest": "At rest",
    "exertion": "Walking",
    "sleep": "Asleep",
    "on_portable": "Hours of these on a portable",
    "breaths_per_minute": "Breaths a minute",
    "boil_off": "Boil-off a day",
    "economiser": "Economiser (the gas that boils off is breathed first)",
    "coupling": "Fill coupling",
    "empty_mass": "Weight when empty",
    "oxygen_mass": "Weight of the oxygen when full",
    "liquid_volume": "Liquid when full",
    "max_flow": "Highest flow",
    "divisions": "Parts of the gauge between empty and full",
    "cold_fills_per_day": "Fills a day while still cold",
    "warm_fills_per_day": "Fills a day when warm",
    "content": "Gas when full",
    "reserve": "Pressure at which to change",
    "link_base": "Address of the clinic's pages",
    "subdivision": "Part of the country",
    "lead_days": "Days from a call to its delivery",
    "closed_days": "Most days in a row without deliveries",
    "phone_day": "Phone by day",
    "phone_night": "Phone at night",
}

_QUOTED = re.compile(r"'([a-z_]+)'")


def words(name: str, /, **held: object) -> str:
    """Return a sentence of the desk with its values."""
    return WORDS[name].format(**held)


def label(path: str) -> str:
    """Return how the page calls one field."""
    name = path.rpartition(".")[2]
    return LABELS.get(path) or LABELS.get(name) or name.replace("_", " ").capitalize()


def way(path: str) -> str:
    """Return how the page calls a field with the part in which it stands: ``Portable 1: Boil-off a day``."""
    above, _, _ = path.rpartition(".")
    if path in LABELS or not above or above == "prescription":
        return _counted(label(path))
    return f"{_counted(label(above))}: {label(path)}"


def _counted(text: str) -> str:
    return re.sub(r"\[([0-9]+)\]", r" \1", text)


def as_on_the_page(text: str, known: Container[str], say: Callable[[str], str]) -> str:
    """Return a message with each name of a field, as a case file spells it, by its label, said in some language."""
    return _QUOTED.sub(lambda quoted: f"“{say(label(quoted[1]))}”" if quoted[1] in known else quoted[0], text)
