"""`guide` from outside: new, check, list and show."""

from __future__ import annotations

from pathlib import Path

from conftest import Telltale
from vision.guide import builtin_names, builtin_text, check_guide, load_guide
from vision.records import (
    GuideError,
    OutputError,
)


def test_a_new_guide_passes_its_own_check(telltale: Telltale, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    assert telltale("guide", "new", file)[0] == 0
    code, out, _ = telltale("guide", "check", file)
    assert code == 0
    assert out.splitlines()[-1].startswith(f"{file}: 0 errors, ")


def test_a_new_guide_replaces_nothing(telltale: Telltale, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("years of work")
    code, _, err = telltale("guide", "new", file)
    assert code == OutputError.exit_code
    assert err == f"telltale: {file}: exists already and is left as it is\n"
    assert file.read_text() == "years of work"


def test_check_names_the_line(telltale: Telltale, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    telltale("guide", "new", file)
    lines = file.read_text().splitlines()
    where = next(n for n, line in enumerate(lines) if line.startswith("years"))
    lines[where] = 'years = "1936/1935"'
    file.write_text("\n".join(lines))
    code, out, _ = telltale("guide", "check", file)
    assert code == GuideError.exit_code
    assert f"{file}:{where + 1}: error: " in out
    expected = check_guide(file.read_text(), str(file))
    assert out.splitlines()[:-1] == [str(finding) for finding in expected]


def test_check_takes_a_name_as_the_other_commands_do(telltale: Telltale, tmp_path: Path) -> None:
    """Before: "cannot be read (No such file or directory)"."""
    for name in builtin_names():
        code, out, err = telltale("guide", "check", name)
        assert (code, err) == (0, "")
        assert out.splitlines()[-1] == f"{name}: 0 errors, 0 warnings"
        file = tmp_path / f"{name}.toml"
        file.write_text(builtin_text(name))
        _, of_file, _ = telltale("guide", "check", file)
        assert of_file.splitlines()[:-1] == out.splitlines()[:-1]
    code, _, err = telltale("guide", "check", "nosuchguide")
    assert code == GuideError.exit_code
    assert "nosuchguide: no such guide; give a file or one of wayfarer, brindle" in err


def test_check_of_what_is_no_text(telltale: Telltale, tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path / "a.toml", tmp_path / "none.toml", tmp_path):
        code, _, err = telltale("guide", "check", path)
        assert code == GuideError.exit_code
        assert err.count("\n") == 1


def test_list_and_show(telltale: Telltale) -> None:
    _, listed, _ = telltale("guide", "list")
    for name in builtin_names():
        guide = load_guide(name)
        assert f"{guide.years[0]}–{guide.years[-1]}" in listed
        code, shown, _ = telltale("guide", "show", name)
        assert code == 0
        rows = [line.split()[0] for line in shown.splitlines() if line]
        rows = rows[rows.index("id") + 1 :]
        assert [v.id for v in guide.variations] == rows[: len(guide.variations)]
    assert telltale("guide", "show", "nosuchguide")[0] == GuideError.exit_code
