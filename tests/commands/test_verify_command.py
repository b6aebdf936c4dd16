"""A proof written and checked from the command line."""

from conftest import KNEELING, run

ASKED = [KNEELING, "--unit", "m", "--block", "900x700x1600", "--cover", "20"]


def test_prove_and_verify(capsys, tmp_path):
    file = tmp_path / "kneeling.proof"
    code, out, err = run(capsys, "prove", *ASKED, "-o", str(file.with_suffix(".txt")))
    assert code == 2
    assert "this is saved as .proof" in err
    code, out, err = run(capsys, "prove", *ASKED, "-o", str(file))
    assert run(capsys, "prove", *ASKED, "-o", str(file))[0] == code == 0  # our own may be written again
    assert (code, err) == (0, "")
    assert "no placement exceeds the scale" in out
    code, out, _ = run(capsys, "verify", str(file), *ASKED[:5])
    assert code == 0
    assert out.startswith("VALID: ")
    code, out, _ = run(capsys, "verify", str(file), *ASKED[:3], "--block", "900x700x1601")
    assert code == 0
    assert out.startswith("NOT VALID: the planes are not those of the block")


def test_a_file_that_is_no_proof(capsys, tmp_path):
    (tmp_path / "a.proof").write_text("no")
    code, _, err = run(capsys, "verify", str(tmp_path / "a.proof"), *ASKED[:5])
    assert code == 2
    assert "a.proof is no certificate" in err
