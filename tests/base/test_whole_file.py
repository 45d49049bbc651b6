"""A file is written whole or stays as it was."""

import pytest

from tutor.base.whole_file import whole_file


def test_an_interrupted_writing_leaves_what_was_there(tmp_path, monkeypatch):
    file = tmp_path / "sheets.pdf"
    with whole_file(file) as whole:
        whole.write(b"first")
    assert file.read_bytes() == b"first"

    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("os.fsync", interrupted)
    with pytest.raises(KeyboardInterrupt), whole_file(file, replace=True) as whole:
        whole.write(b"second")
    assert file.read_bytes() == b"first"
    assert list(tmp_path.iterdir()) == [file]
