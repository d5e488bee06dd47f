"""What a guide carries, so that it can be checked years later: its code and its figures, both signed."""

import base64
import hashlib
import hmac
from dataclasses import dataclass

from companion.case.model import Case
from companion.errors import LinkError
from companion.link.code import decode, encode
from companion.link.keys import Keys
from companion.reckoning.figures import Figures, as_text, figures, from_text, stamp
from companion.reckoning.plan import Plan, plan

_SEAL = "; seal="


@dataclass(frozen=True)
class Carried:
    """What is set into the head of a page, into the keywords of a PDF, and behind the address in the QR code."""

    code: str
    figures: str
    """Every figure in one line, and the seal over the code and that line."""
    stamp: str
    """What stands for the figures where there is no room for more."""


def carried(case: Case, planned: Plan, keys: Keys) -> Carried:
    """Return what a guide carries.

    Raises:
        LinkError: the page behind the code would show other figures than the paper.
    """
    code = encode(case, keys)
    printed = figures(case, planned)
    back = decode(code, keys)
    again = plan(back)
    if again != planned or figures(back, again) != printed:
        raise LinkError(
            "The page behind the code would not show what is printed. Nothing was made. Write the numbers of the case "
            "with fewer digits; if that does not help, tell whoever maintains the program."
        )
    text = as_text(printed)
    return Carried(code, f"{text}{_SEAL}{_seal(keys.signing(), code, text)}", stamp(printed))


def opened(code: str, sealed: str, keys: Keys) -> tuple[Figures, bool]:
    """Return the figures that a guide carries, and whether they are sealed as this clinic seals them."""
    text, _, seal = sealed.partition(_SEAL)
    return from_text(text), any(
        hmac.compare_digest(seal.encode(), _seal(key, code, text).encode()) for key in keys.secrets
    )


def _seal(key: bytes, code: str, text: str) -> str:
    # With its own first word, so that no seal is ever the signature of a code.
    message = b"figures\n" + code.encode() + b"\n" + text.encode()
    return base64.b32encode(hmac.new(key, message, hashlib.sha256).digest()[:10]).decode("ascii")
