"""The translator's side: gathers every message, keeps each language's ``messages.po`` in step, says how it stands.

Messages come from the sections (each block), the templates and drawings (``_("…")``) and the code
(``locale.say("…")``, ``locale.plural(number, "…", "…")``). Nothing that can be gathered is kept in the repository.
"""

import datetime as dt
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import babel
import tomli_w
from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, unescape, write_po

from companion import resources
from companion.editing.desk_messages import desk_messages, desk_state
from companion.errors import SettingError
from companion.files import write_whole
from companion.guide.sections import notes
from companion.guide.values import VALUE_HELP
from companion.language.catalogue import (
    DESK,
    MESSAGES,
    Review,
    digest,
    forms_of,
    is_translated,
    message_of,
    read_catalogue,
    review_of,
)
from companion.language.said import PLACEHOLDER
from companion.web.tongue import tongues

_HEAD = """\
msgid ""
msgstr ""
"Language: {tag}\\n"
"Plural-Forms: {plurals}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""

_KEYWORDS = {"_": None, "say": None, "marked": None, "plural": (2, 3)}


@dataclass(frozen=True)
class Found:
    """One message and where it stands."""

    message: str
    place: str
    """File and line, for the reference comment."""
    note: str
    """What the translator should know."""
    many: str = ""
    """The form for several, of a message in which a number stands."""


@cache
def messages() -> tuple[Found, ...]:
    """Return every message of the program, in the order of the files."""
    return tuple(_gathered())


def _gathered() -> Iterator[Found]:
    templates = resources.folder("templates")
    for path in sorted((templates / "sections").glob("*.md")):
        for block in notes(path.stem):
            if PLACEHOLDER.fullmatch(block.text):
                continue  # it says what its value says
            yield Found(block.text, f"{block.file}:{block.line}", _with_values(block.comment, block.text))
    for path in sorted(templates.rglob("*.jinja")):
        place = f"templates/{path.relative_to(templates).as_posix()}"
        drawn = "drawings" in path.parts
        for line, message, _, comments in _extracted("jinja2", path):
            note = " ".join(comments) or ("What a drawing teaches, for people who cannot see it." if drawn else "")
            yield Found(message, f"{place}:{line}", _with_values(note, message))
    package = resources.code()
    for path in sorted(package.rglob("*.py")):
        place = f"companion/{path.relative_to(package).as_posix()}"
        for line, message, many, comments in _extracted("python", path):
            yield Found(message, f"{place}:{line}", _with_values(" ".join(comments), message), many)


def _extracted(method: str, path: Path) -> Iterator[tuple[int, str, str, list[str]]]:
    """Yield line, message, its form for several if it has one, and comments."""
    # Jinja's extractor takes its options as strings and else passes over a template that it cannot read.
    options = {"silent": "false", "trim_blocks": "true", "lstrip_blocks": "true"} if method == "jinja2" else {}
    with path.open("rb") as file:
        for line, message, comments, _ in extract(
            method,
            file,
            keywords=_KEYWORDS,
            comment_tags=("Translators:",),
            options=options,
            strip_comment_tags=True,
        ):
            one, many = message if isinstance(message, tuple) else (message, "")
            if isinstance(one, str) and one:
                yield line, one, many, comments


def _with_values(note: str, message: str) -> str:
    held = [f"{{{name}}}: {VALUE_HELP[name]}." for name in PLACEHOLDER.findall(message) if name in VALUE_HELP]
    return " ".join([note, *held]).strip()


def template() -> Catalog:
    """Return the catalogue of all messages, untranslated."""
    gathered = Catalog(project="companion", charset="utf-8", fuzzy=False)
    for found in messages():
        file, line = found.place.rsplit(":", 1)
        key = (found.message, found.many) if found.many else found.message
        gathered.add(key, locations=[(file, int(line))], auto_comments=[found.note] if found.note else [])
    return gathered


def _desk_template() -> Catalog:
    gathered = Catalog(project="companion", charset="utf-8", fuzzy=False)
    for message in desk_messages():
        gathered.add(message)
    return gathered


def update(tag: str) -> Path:
    """Bring a language's ``messages.po`` in step with the program, making it where there is none; its ``desk.po`` too.

    A message that is new stands empty. One that was changed keeps its translation, marked fuzzy with the message that
    it was made for, so that a translator mends it and need not begin anew; nothing fuzzy is ever printed. Where the
    message says the same in other signs (a comma, a capital), the translation is carried over.
    """
    path = resources.folder("locales") / tag / MESSAGES
    try:
        cldr = babel.Locale.parse(tag, sep="-")
    except (babel.UnknownLocaleError, ValueError) as error:
        raise SettingError(f"'{tag}' is no language tag that CLDR knows, such as 'es' or 'zh-Hans'.") from error
    _in_step(path, cldr, template())
    if tag in tongues():
        _in_step(path.with_name(DESK), cldr, _desk_template())
    settings = path.with_name("locale.toml")
    if not settings.is_file():
        name = cldr.get_display_name(cldr) or tag
        write_whole(settings, tomli_w.dumps({"name": name, "fonts": ["Noto Sans"], "leading": 1.5}).encode())
    return path


def _in_step(path: Path, cldr: babel.Locale, wanted: Catalog) -> None:
    """Bring one catalogue in step with the messages that it must have."""
    before: dict[str, str] = {}
    if path.is_file():
        with path.open("rb") as file:
            held = read_po(file, locale=cldr)
        # Babel writes for which message a fuzzy translation was made, over several lines where it is long, but reads it
        # back as comments.
        for entry in held:
            made_for = " ".join(comment[1:].strip() for comment in entry.user_comments if comment.startswith("|"))
            if made_for:
                before[message_of(entry)] = unescape(made_for.removeprefix("msgid "))
            entry.user_comments = [comment for comment in entry.user_comments if not comment.startswith("|")]
    else:
        held = Catalog(locale=cldr, project="companion", charset="utf-8", fuzzy=False)
    held.update(wanted)
    held.obsolete.clear()
    for entry in held:
        message = message_of(entry)
        if not PLACEHOLDER.search(str(entry.id)):
            entry.flags.discard("python-brace-format")  # Babel keeps it from the message before
        if entry.fuzzy and not entry.previous_id and message in before:
            entry.previous_id = [before[message]]
        if entry.fuzzy and message and entry.previous_id and _letters(entry.previous_id[0]) == _letters(message):
            entry.flags.discard("fuzzy")
            entry.previous_id = []
    out = io.BytesIO()
    write_po(out, held, width=0, omit_header=True, include_lineno=False, ignore_obsolete=True, include_previous=True)
    # Our own head: Babel's would carry the time of the run, and a file that did not change must not differ.
    head = _HEAD.format(tag=path.parent.name, plurals=held.plural_forms)
    write_whole(path, head.encode() + out.getvalue())


def _letters(message: object) -> list[str]:
    """Return what a message says without its signs and capitals; placeholders and figures count as letters."""
    return re.findall(r"\w+", str(message).casefold())


# ── how a language stands ───────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class State:
    """How one language stands."""

    tag: str
    messages: int
    missing: tuple[str, ...]
    """Messages without a translation."""
    stale: tuple[str, ...]
    """Translations of messages that are no longer in the program."""
    faults: tuple[str, ...]
    """Messages whose placeholders, bold marks or braces differ from the English."""
    review: Review | None
    changed: tuple[str, ...]
    """Messages that are new or read otherwise than when they were reviewed."""

    @property
    def translated(self) -> int:
        """The number of messages with a translation."""
        return self.messages - len(self.missing)

    @property
    def changed_since_review(self) -> int:
        """The number of messages that no review has seen as they are."""
        return len(self.changed)


def state(tag: str) -> State:
    """Return how a language stands against the messages of the program."""
    wanted = {found.message: found.many or found.message for found in messages()}
    entries = [entry for entry in read_catalogue(tag) if entry.id]
    held = {message_of(entry): entry for entry in entries if not entry.fuzzy and is_translated(entry)}
    review = review_of(tag)
    known = review.digests if review else frozenset()
    return State(
        tag=tag,
        messages=len(wanted),
        missing=tuple(message for message in wanted if message not in held),
        stale=tuple(sorted({message_of(entry) for entry in entries} - wanted.keys())),
        faults=tuple(
            sorted(
                message
                for message, fullest in wanted.items()
                if message in held and any(marks_differ(fullest, form) for form in forms_of(held[message]))
            )
        ),
        review=review,
        changed=tuple(message for message in wanted if message not in held or digest(held[message]) not in known),
    )


def marks_differ(message: str, translation: str) -> bool:
    """Return whether a translation has lost a value, or has what a printer could take for more than text.

    A number may be said in words: "one cylinder", or by the form of the word alone.
    """
    return _marks(message.replace("{count}", "")) != _marks(translation.replace("{count}", ""))


def _marks(text: str) -> tuple[list[str], int, int, int]:
    """Return the placeholders of a text and what else a printer could take for more than text."""
    return (
        sorted(PLACEHOLDER.findall(text)),
        text.count("**"),
        len(re.findall("[{}]", text)),
        len(re.findall("[<>]", text)),
    )


def review_words(found: State) -> str:
    """Return how a language stands with its review, in words."""
    if found.review is None:
        return "none recorded"
    held = f"{found.review.by} ({found.review.qualification}), {found.review.date}"
    return f"{held}; {found.changed_since_review} messages changed since" if found.changed else held


def work_left(tag: str) -> Iterator[str]:
    """Return a line for each thing that is to be done in a language, or one that says there is nothing."""
    found = state(tag)
    places = {item.message: item.place for item in messages()}
    yield f"{tag}: {found.translated} of {found.messages} translated; review: {review_words(found)}"
    yield from (f"missing  {places[message]}: {message}" for message in found.missing)
    yield from (f"stale    {message}" for message in found.stale)
    yield from (f"marks    {places[message]}: {message}" for message in found.faults)
    desk = desk_state(tag)
    if desk is not None:
        yield f"{tag}, the desk: {desk.messages - len(desk.missing)} of {desk.messages} translated"
        yield from (f"desk, missing  {message}" for message in desk.missing)
        yield from (f"desk, stale    {message}" for message in desk.stale)
        yield from (f"desk, marks    {message}" for message in desk.faults)
    if found.review:
        yield from (f"changed  {places[message]}: {message}" for message in found.changed)


def record_review(tag: str, by: str, qualification: str, date: dt.date) -> Path:
    """Record that a qualified translator has reviewed every message as it stands today.

    Raises:
        SettingError: the language is not complete, so it cannot have been reviewed whole.
    """
    found = state(tag)
    if found.missing or found.faults:
        raise SettingError(
            f"'{tag}' cannot be recorded as reviewed: {len(found.missing)} messages are missing "
            f"and {len(found.faults)} have faults. 'companion locales {tag}' lists them."
        )
    digests = sorted(digest(entry) for entry in read_catalogue(tag) if entry.id)
    head = "# Recorded by 'companion locales'. A message that changes afterwards counts as not reviewed.\n"
    review = {"by": by, "qualification": qualification, "date": date, "digests": digests}
    path = resources.folder("locales") / tag / "review.toml"
    write_whole(path, (head + tomli_w.dumps(review)).encode())
    review_of.cache_clear()
    return path
