"""A document as one HTML page that needs nothing else: no network, no script, no font on the device for its script.

Each kind of block has a macro in ``templates/html/blocks.html.jinja``. What is said is put in as text: nothing that a
person or a translation says can become markup.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import groupby
from typing import Any

import jinja2
from markupsafe import Markup, escape

from companion import resources
from companion.errors import SettingError
from companion.guide.document import Block, Code, Document, Drawing
from companion.language.locale import Locale
from companion.language.said import NEW_LINE, Run, Said, Speech
from companion.render.qr import qr_drawing
from companion.render.webfonts import faces


def html(document: Document, template: str = "html/document.html.jinja", **more: Any) -> str:
    """Print a document.

    Args:
        document: what is printed.
        template: a page that has more around it.
        more: what that page needs.

    Raises:
        SettingError: there is no macro for a kind of block.
    """
    show = _Printer(document.tag).show
    return environment().get_template(template).render(document=document, page=document, show=show, **more)


def web_page(template: str, locale: Locale, **more: Any) -> str:
    """Return a page of the web programs in one language, with what it needs."""
    return environment().get_template(template).render(page=locale, locale=locale, _=locale.say, **more)


def blocks_html(blocks: tuple[Block, ...], tag: str) -> Markup:
    """Print blocks alone, for a page in a language that has more on it than a document."""
    return _Printer(tag).show(blocks)


@dataclass(frozen=True)
class _Printer:
    """Prints blocks for a page in one language, so that it is known what is in another."""

    tag: str

    def show(self, blocks: Iterable[Block]) -> Markup:
        macros: Any = _macros(self.tag)
        printed: list[str] = []
        for block in blocks:
            name = type(block).__name__.lower()
            if not hasattr(macros, name):
                raise SettingError(f"templates/html/blocks.html.jinja has no macro for the block '{name}'.")
            printed.append(getattr(macros, name)(block))
        return Markup("".join(printed))

    def tongue(self, said: Said) -> Markup:
        """Return the attributes of a text that is in another language than its page."""
        if said.first.tag == self.tag:
            return Markup("")
        return Markup(' lang="{}" dir="{}"').format(said.first.tag, said.first.direction)


@cache
def _macros(tag: str) -> jinja2.environment.TemplateModule:
    printer = _Printer(tag)
    template = environment().get_template("html/blocks.html.jinja")
    return template.make_module({"page": printer, "show": printer.show, "tongue": printer.tongue})


def said_html(said: Said, tag: str) -> Markup:
    """Print a text in a page in one language; what is in another is marked as what it is.

    A second language stands under the first.
    """
    first = speech_html(said.first)
    if said.first.tag != tag:
        first = Markup('<span lang="{}" dir="{}">{}</span>').format(said.first.tag, said.first.direction, first)
    if len(said.speeches) == 1:
        return first
    second = said.speeches[1]
    return Markup('{} <span class="other" lang="{}" dir="{}">{}</span>').format(
        first, second.tag, second.direction, speech_html(second)
    )


# Most of what is said is the same in every guide.
@lru_cache(maxsize=8192)
def speech_html(speech: Speech) -> Markup:
    """Print the runs of one language."""
    parts = []
    for bold, runs in groupby(speech.runs, key=lambda run: run.bold):
        inside = "".join(_run(run) for run in runs)
        parts.append(f"<strong>{inside}</strong>" if bold else inside)
    return Markup("".join(parts))  # each run was escaped


def _run(run: Run) -> Markup:
    if run is NEW_LINE:
        return Markup("<br/>")
    if run.direction is None and not run.keep:
        return escape(run.words)
    direction = f' dir="{run.direction}"' if run.direction in ("ltr", "rtl") else ""
    return Markup("<bdi{}>{}</bdi>").format(Markup(direction + (' class="keep"' if run.keep else "")), run.words)


def _apart(said: Said) -> Markup:
    """Print each language of a text as a paragraph of its own."""
    if len(said.speeches) == 1:
        return speech_html(said.first)
    return Markup("").join(
        Markup('<p lang="{}" dir="{}">{}</p>').format(speech.tag, speech.direction, speech_html(speech))
        for speech in said.speeches
    )


def _qr(code: Code) -> Markup:
    return _image(qr_drawing(code.content, code.label))


def _image(drawing: Drawing) -> Markup:
    return Markup(drawing.svg)


@jinja2.pass_context
def _finalized(context: jinja2.runtime.Context, value: object) -> object:
    return said_html(value, context["page"].tag) if isinstance(value, Said) else value


@cache
def environment() -> jinja2.Environment:
    """Return the one Jinja environment: everything is escaped, a name that is not there is an error."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(resources.folder("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_finalized,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {"image": _image, "qr": _qr, "apart": _apart, "faces": faces}
    return environment
