"""A file that is written anew is whole or as it was."""

import errno
import os
from pathlib import Path

import pytest

from rig.errors import BadInput
from rig.files import write_whole


def test_a_file_is_put_in_the_place_of_another(tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text("old")
    write_whole(path, "ü new")
    assert path.read_bytes() == "ü new".encode()
    assert os.listdir(tmp_path) == ["report.html"]


def test_a_disk_that_fills_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "report.html"
    path.write_text("old")

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match=r"No space left on device\. What was there is as it was"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["report.html"]


def test_a_folder_in_its_place_is_no_place(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(BadInput, match="cannot be written"):
        write_whole(tmp_path / "out", "new")
    assert os.listdir(tmp_path) == ["out"]
