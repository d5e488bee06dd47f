"""The HTML as a browser and its users meet it: valid, accessible, narrow screens, forced colours, print."""

import json
import subprocess
from pathlib import Path

import pytest

from companion.language.catalogue import available
from tests.guides import HOMES, guide, table
from tests.tools import npm_file, program


@pytest.mark.parametrize("kind", ["guide", "table"])
@pytest.mark.parametrize("tag", available())
def test_valid_html(kind: str, tag: str, tmp_path: Path) -> None:
    # Nu HTML checker (npm vnu-jar), errors only.
    path = tmp_path / "page.html"
    made = guide("harbour-lane", tag) if kind == "guide" else table("harbour-lane", tag)
    path.write_text(made.page, encoding="utf-8")
    jar = npm_file("vnu-jar/build/dist/vnu.jar")
    checked = subprocess.run(
        [program("java"), "-jar", jar, "--errors-only", "--format", "json", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )
    messages = json.loads(checked.stderr)["messages"]
    assert not messages, messages[:3]


@pytest.mark.parametrize("name", HOMES)
@pytest.mark.parametrize("tag", available())
def test_asks_nothing_of_the_network(name: str, tag: str) -> None:
    page = guide(name, tag).page
    for outside in ("src=", "@import", "<script", "<link ", "url("):
        assert outside not in page


@pytest.mark.parametrize("tag", available())
def test_language_and_direction(tag: str) -> None:
    page = guide("harbour-lane", tag).page
    direction = "rtl" if tag == "ar" else "ltr"
    assert f'lang="{tag}" dir="{direction}"' in page.split("<head>")[0]
