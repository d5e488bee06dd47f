"""The HTML as a browser and its users meet it: valid, accessible, narrow screens, forced colours, print."""

from pathlib import Path

import pytest

from tests.guides import EACH, guide, table
from tests.visit import assert_valid


def test_valid_html(tmp_path: Path) -> None:
    # Nu HTML checker (npm vnu-jar), errors only.
    guides = [row for row in EACH if row[1] in ("en", "ar")]  # a language adds words and no element
    assert_valid(tmp_path, *(guide(*row).page for row in guides), *(table(*row).page for row in EACH))


@pytest.mark.parametrize(("name", "tag"), EACH)
def test_asks_nothing_of_the_network(name: str, tag: str) -> None:
    page = guide(name, tag).page.replace("url(data:font/woff2;base64,", "")
    for outside in ("src=", "@import", "fetch(", "<link ", "url("):
        assert outside not in page


@pytest.mark.parametrize(("name", "tag"), EACH)
def test_language_and_direction(name: str, tag: str) -> None:
    page = guide(name, tag).page
    direction = "rtl" if tag in ("ar", "ur") else "ltr"
    assert f'lang="{tag}" dir="{direction}"' in page.split("<head>")[0]
