"""English as it is written and spoken in a country: the words of ``locales/english.toml`` in place of the source's."""

import re
import tomllib
from functools import cache, lru_cache

from companion import resources

AMERICAN_SPELLING = ("US",)
AMERICAN_WORDS = ("US", "CA")
"""Where it is written, and where it is called, as in the source."""


@lru_cache(maxsize=4096)
def english(message: str, region: str) -> str:
    """Return a message of the source as it is said in a country."""
    if region in AMERICAN_SPELLING:
        return message
    return _pattern(region).sub(lambda found: _others(region)[found[0]], message)


@cache
def _others(region: str) -> dict[str, str]:
    held = tomllib.loads(resources.read("locales", "english.toml"))
    return dict(held["spelling"]) | (dict(held["words"]) if region not in AMERICAN_WORDS else {})


@cache
def _pattern(region: str) -> re.Pattern[str]:
    # Longer ones first: "cell phone" before a word in it.
    words = sorted(_others(region), key=len, reverse=True)
    return re.compile(rf"\b(?:{'|'.join(map(re.escape, words))})\b")
