"""The HTML as a browser and its users meet it: valid, accessible, narrow screens, forced colours, print."""

import json
import subprocess
from pathlib import Path

import pytest

from companion.language.catalogue import available
from tests.guides import HOMES, guide, table
from tests.tools import npm_file, program


def test_valid_html(tmp_path: Path) -> None:
    # Nu HTML checker (npm vnu-jar), errors only; all pages at once, because it takes longest to begin.
    jar = npm_file("vnu-jar/build/dist/vnu.jar")
    for tag in available():
        (tmp_path / f"guide.{tag}.html").write_text(guide("harbour-lane", tag).page, encoding="utf-8")
        (tmp_path / f"table.{tag}.html").write_text(table("harbour-lane", tag).page, encoding="utf-8")
    checked = subprocess.run(
        [program("java"), "-jar", jar, "--errors-only", "--format", "json", *map(str, tmp_path.iterdir())],
        capture_output=True,
        text=True,
        check=False,
    )
    messages = json.loads(checked.stderr)["messages"]
    assert not messages, [(message["url"].rpartition("/")[2], message["message"]) for message in messages[:3]]


@pytest.mark.parametrize("name", HOMES)
@pytest.mark.parametrize("tag", available())
def test_asks_nothing_of_the_network(name: str, tag: str) -> None:
    page = guide(name, tag).page
    for outside in ("src=", "@import", "fetch(", "<link ", "url("):
        assert outside not in page


@pytest.mark.parametrize("tag", available())
def test_language_and_direction(tag: str) -> None:
    page = guide("harbour-lane", tag).page
    direction = "rtl" if tag == "ar" else "ltr"
    assert f'lang="{tag}" dir="{direction}"' in page.split("<head>")[0]
