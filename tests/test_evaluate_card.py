"""How figures are told: tables with their targets, the card, curves, and the command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

import made_looks
from tools.evaluate import __main__ as command
from tools.evaluate.card import refresh
from tools.evaluate.rows import share, table
from tools.evaluate.summary import summary
from tools.evaluate.targets import Target


def test_a_table_says_what_is_met_missed_and_too_few() -> None:
    found = [
        share("good", [True] * 99 + [False], "a"),
        share("bad", [True] * 9 + [False], "a"),
        share("nothing", [], "a"),
        share("few", [True] * 10, "b"),
    ]
    text = table(found, {"a": Target(0.95), "b": Target(0.9, least_n=5000)})
    verdicts = [line.split("|")[4].strip() for line in text.splitlines()[2:]]
    assert verdicts == ["met", "MISSED", "not measured", "met, but n < 5000"]
    assert "94.55 % to 99.82 %" in text  # Wilson interval of 99 of 100, statsmodels 0.15


def test_the_card_keeps_what_people_wrote(tmp_path: Path) -> None:
    card = tmp_path / "CARD.md"
    card.write_text("# Card\n\n<!-- begin:held -->\nold\n<!-- end:held -->\n\nBy hand.\n")
    refresh(card, {"held": r"new \1"})
    refresh(card, {"photos": "more"})
    assert card.read_text() == (
        "# Card\n\n<!-- begin:held -->\nnew \\1\n<!-- end:held -->\n\nBy hand.\n\n"
        "<!-- begin:photos -->\nmore\n<!-- end:photos -->\n"
    )
    # A new block keeps to its neighbours, so that photographs never come among renders.
    refresh(card, {"summary": "all", "held": "new", "curves": "drawn"})
    names = [line.split(":")[1] for line in card.read_text().splitlines() if "begin" in line]
    assert [name.removesuffix(" -->") for name in names] == ["summary", "held", "curves", "photos"]
    assert "By hand." in card.read_text()
    card.write_text("<!-- begin:held -->\n")
    with pytest.raises(ValueError, match="only one of its two marks"):
        refresh(card, {"held": "new"})


def test_the_summary_shows_the_worst_of_each_kind() -> None:
    limit = Target(0.9)
    text = summary(
        {
            "held": [
                (share("lever: balanced", [True] * 19 + [False], "balanced_accuracy"), limit),
                (share("stripe: balanced", [True] * 3 + [False], "balanced_accuracy"), limit),
                (share("not measured", [], "found"), limit),
            ],
            "guide": [(share("named", [True] * 4, "years", level=0.9), limit)],
        }
    )
    cells = [[c.strip() for c in line.split("|")[2:-1]] for line in text.splitlines()[2:]]
    assert cells[0] == ["held", "-", "≥ 90 %", "not measured", "0", "", ""]
    assert cells[1][:5] == ["held", "75.00 %", "≥ 90 %", "MISSED", "4"]
    assert cells[1][-1] == "stripe: balanced"
    assert cells[2][:5] == ["guide", "100.00 %", "≥ 90 %", "met", "4"]
    assert cells[2][5].endswith("(90 %)")


def test_intervals_of_two_levels_do_not_share_a_heading() -> None:
    mixed = [share("one", [True]), share("two", [True], level=0.9)]
    assert "| 90 % interval" in table(mixed[1:], {})
    with pytest.raises(ValueError, match="one level expected"):
        table(mixed, {})


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["evaluate", *arguments])
    command.main()


def test_the_command_fills_the_card_and_draws_the_curves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = made_looks.write(made_looks.looks(300), tmp_path / "looks.jsonl.gz")
    fusion = tmp_path / "fusion.json"
    fusion.write_text(json.dumps(made_looks.fusion(gain=1.0)))
    card = tmp_path / "CARD.md"
    arguments = ["--looks", str(looks), "--fusion", str(fusion), "--card", str(card)]
    run(arguments, monkeypatch)
    printed, text = capsys.readouterr().out, card.read_text()
    assert "Renders, held (held-1): all cues: calibration error of p" in printed
    assert "![Reliability, held](reliability_held.png)" in text
    assert "### Targets on renders" in text
    assert "### Renders, held (held-1): by pixels" in text
    for name in ("reliability_held.png", "risk_coverage_held.png"):
        with Image.open(tmp_path / name) as picture:
            assert picture.width > 400
            # Blue of the first cue is drawn somewhere.
            colours = picture.convert("RGB").getcolors(1 << 24)
            assert any(abs(r) < 40 and b > 140 and g < 150 for _, (r, g, b) in colours)
        assert (tmp_path / name).stat().st_size < 60_000
    with pytest.raises(SystemExit) as stopped:
        run([*arguments, "--strict"], monkeypatch)
    assert stopped.value.code == 1


def test_looks_that_the_fit_saw_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = made_looks.write(made_looks.looks(20), tmp_path / "looks.jsonl.gz")
    fusion = made_looks.fusion()
    arguments = ["--looks", str(looks), "--fusion", str(tmp_path / "fusion.json")]
    for first, last in ((0, 5), (19, 90)):
        fusion["fitted"]["series"] = {"held-1": [first, last]}
        (tmp_path / "fusion.json").write_text(json.dumps(fusion))
        with pytest.raises(SystemExit):
            run(arguments, monkeypatch)
        assert f"fitted on held-1, scenes {first} to {last}" in capsys.readouterr().err
    # Other scenes of the series, and other series, it has never met.
    fusion["fitted"]["series"] = {"held-1": [20, 90], "held-2": [0, 19]}
    (tmp_path / "fusion.json").write_text(json.dumps(fusion))
    run(arguments, monkeypatch)


def test_measuring_needs_neither_torch_nor_the_renderer() -> None:
    code = (
        "import sys, tools.metrics, tools.bench, tools.evaluate.__main__, tools.calibrate.__main__;"
        "print(sorted({'torch', 'mitsuba'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
