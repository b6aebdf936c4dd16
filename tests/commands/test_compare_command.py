"""`blockfit compare`."""

import pytest
from conftest import HERE, KNEELING


def test_the_command_line(tmp_path, capsys):
    from blockfit.__main__ import cli, main

    arguments = ["compare", KNEELING, str(HERE / "data" / "yard.csv"), "--unit", "m", "--cover", "20"]
    more = ["--scale", "0.4", "--rank", "cheapest", "--jobs", "1", "-o", str(tmp_path / "yard.html")]
    cli.main([*arguments, *more], standalone_mode=False)
    out = capsys.readouterr().out
    assert "ranked by cheapest" in out
    assert (tmp_path / "yard.html").exists()
    (tmp_path / "bad.csv").write_text("width\n3\n", encoding="utf-8")
    with pytest.raises(SystemExit) as stopped:
        main(["compare", KNEELING, str(tmp_path / "bad.csv"), "--unit", "m"])
    assert stopped.value.code == 2
    assert "line 2" in capsys.readouterr().err
