"""What the tests of readers share: a bundle written to a file."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Write = Callable[[Any], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Return a writer of FHIR bundles in a folder of the test's own."""

    def written(bundle: Any) -> Path:
        path = tmp_path / "bundle.json"
        path.write_text(json.dumps(bundle), encoding="utf-8")
        return path

    return written
