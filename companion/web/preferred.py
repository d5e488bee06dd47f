"""Which language a browser asks for."""

import re
from collections.abc import Sequence
from functools import lru_cache

from companion.language.catalogue import SOURCE

_CHINESE = {
    "zh": "zh-hans",
    "zh-cn": "zh-hans",
    "zh-sg": "zh-hans",
    "zh-tw": "zh-hant",
    "zh-hk": "zh-hant",
    "zh-mo": "zh-hant",
}


@lru_cache(maxsize=256)
def preferred(header: str, tags: Sequence[str]) -> str:
    """Return which of some languages an Accept-Language header likes best; English where it likes none."""
    weighed = []
    for item in header[:200].split(","):
        tag, _, weight = item.partition(";")
        quality = re.fullmatch(r"\s*q=(0(?:\.\d{1,3})?|1(?:\.0{1,3})?)\s*", weight)
        weighed.append((-(float(quality[1]) if quality else 1.0), tag.strip().casefold()))
    held = {tag.casefold(): tag for tag in tags}
    for _, tag in sorted(weighed, key=lambda pair: pair[0]):
        # Phones send a country with Chinese, our folders are named for the script.
        wanted = _CHINESE.get(tag, tag)
        while wanted:
            if wanted in held:
                return held[wanted]
            wanted = wanted.rpartition("-")[0]
    return SOURCE
