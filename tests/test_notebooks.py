"""The notebooks of the manual run as they stand, and their results show themselves."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
sys.path.insert(0, str(DOCS))

from notebooks import FOLDER, SHOWN, page_of  # noqa: E402

NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def test_two_notebooks_are_kept_without_outputs():
    assert len(NOTEBOOKS) == 2
    for path in NOTEBOOKS:
        notebook = json.loads(path.read_text(encoding="utf-8"))
        assert notebook["nbformat"] == 4 and notebook["metadata"]["kernelspec"]["name"] == "python3"
        code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
        assert code and all(cell["outputs"] == [] and cell["execution_count"] is None for cell in code)
        assert "invented" in "".join(notebook["cells"][0]["source"])
        assert len({cell["id"] for cell in notebook["cells"]}) == len(notebook["cells"])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_runs_from_an_empty_folder_and_shows_its_results(path, kept_runs):
    """As a page of the manual, which the test of the manual takes from here, or this one from there."""
    page = page_of(path)
    shown = [part.partition("\n```")[0] for part in page.split(SHOWN)[1:]]
    pictures = [one for one in shown if "data:image/svg+xml;base64," in one or one.startswith("<svg")]
    tables = [one for one in shown if "<table" in one]
    assert len(pictures) >= 2 and len(tables) >= 2
    assert any("fastest at" in part.partition("\n```")[0] for part in page.split("```text\n")[1:])


def test_a_notebook_saves_the_same_results_as_the_command(tmp_path, edgewind):
    import edgewind as verbs

    folder = verbs.new(tmp_path / "my-bench")
    found = verbs.predict(folder, "0.3Pa:30Pa:9", fit=False)
    saved = found.save(tmp_path / "saved")
    names = [path.name for path in sorted(saved.iterdir())]
    assert names == [f"predicted.{kind}" for kind in ("csv", "json", "png", "svg")]
    printed = json.loads(edgewind("predict", str(folder), "--pressures", "0.3Pa:30Pa:9", "--no-fit", "--json").stdout)
    kept = json.loads((saved / "predicted.json").read_text(encoding="utf-8"))
    assert kept == {key: printed[key] for key in kept}
    assert found.to_xarray().speed_rad_s.units == "rad/s"
    with pytest.raises(verbs_error(), match="this path already exists"):
        found.save(saved)
    assert "predicted from first principles" in repr(found)


def verbs_error():
    from edgewind.errors import InputError

    return InputError
