"""The template folder works unchanged, and never overwrites anything."""

import pytest

from edgewind.bench import read_bench, write_template
from edgewind.errors import InputError
from edgewind.signals import read_experiment


def test_the_unchanged_template_is_a_valid_experiment(tmp_path):
    write_template(tmp_path / "new")
    experiment = read_experiment(tmp_path / "new")
    assert experiment.readings["used"].any()


def test_the_template_is_commented_and_its_title_says_that_it_is_invented(tmp_path):
    """There are comments, the title says that the readings are invented, and there is a folder for traces."""
    written = write_template(tmp_path / "new")
    assert [path.name for path in written] == ["bench.toml", "readings.csv"]
    assert written[0].read_text(encoding="utf-8").count("#") > 10
    assert "invented" in read_bench(written[0]).experiment.title
    assert (tmp_path / "new" / "traces").is_dir()


def test_an_empty_folder_may_be_filled(tmp_path):
    assert write_template(tmp_path)[0].is_file()


def test_existing_files_are_not_overwritten(tmp_path):
    (tmp_path / "bench.toml").write_text("mine", encoding="utf-8")
    for place in (tmp_path, tmp_path / "bench.toml"):
        with pytest.raises(InputError, match="this path already exists"):
            write_template(place)
    assert [path.name for path in tmp_path.iterdir()] == ["bench.toml"]
    assert (tmp_path / "bench.toml").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_cannot_be_created_is_named(tmp_path):
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be made") as raised:
        write_template(tmp_path / "file" / "new")
    assert raised.value.file == str(tmp_path / "file" / "new")
