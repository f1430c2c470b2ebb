"""Mended: settings and files that ended in a fault, did nothing, or were told of wrongly."""

from __future__ import annotations

from pathlib import Path

import pytest

from answers import FakeEye
from archives import fill, tag
from conftest import Telltale
from vision.records import Cue, NotFound, Photo, Sighting

# --- the environment ---------------------------------------------------------------


@pytest.mark.parametrize("threads", ["abc", "0", "-3", "1.5", "9" * 30])
def test_a_wrong_number_of_threads_is_wrong_use(
    telltale: Telltale, monkeypatch: pytest.MonkeyPatch, threads: str
) -> None:
    """It ended in a traceback, or was taken for another number."""
    monkeypatch.setenv("TELLTALE_THREADS", threads)
    code, out, err = telltale("guide", "list")
    assert (code, out) == (2, "")
    assert err == f'telltale: TELLTALE_THREADS: 1 to 999 expected, got "{threads}"\n'


@pytest.mark.parametrize("threads", ["1", "16", ""])
def test_a_number_of_threads_is_taken(
    telltale: Telltale, monkeypatch: pytest.MonkeyPatch, threads: str
) -> None:
    monkeypatch.setenv("TELLTALE_THREADS", threads)
    assert telltale("guide", "list")[0] == 0


# --- a guide of nothing but brackets -----------------------------------------------


@pytest.mark.parametrize(("start", "end"), [("[", "]"), ("{a = ", "}")])
def test_a_guide_that_is_nested_without_end_is_refused(
    telltale: Telltale, tmp_path: Path, start: str, end: str
) -> None:
    """It ended in Python's own complaint of a recursion."""
    path = tmp_path / "deep.toml"
    path.write_text(f"a = {start * 5000}1{end * 5000}\n", encoding="utf-8")
    code, out, _ = telltale("guide", "check", path)
    assert code == 20
    assert "deep.toml:1: error: brackets without end inside each other" in out
    code, _, err = telltale("guide", "show", path)
    assert (code, "deep.toml:1" in err) == (20, True)


# --- rates that change nothing -----------------------------------------------------


@pytest.mark.parametrize(
    ("guide", "rate"),
    [
        ("wayfarer", ("--specificity", "cab_number=0.5")),
        ("wayfarer", ("--specificity", "tender_axles=0.5")),
        ("wayfarer", ("--specificity", "edge_stripe_colour=0.5")),
        ("wayfarer", ("--visible", "tender_lettering=0.5")),
        ("brindle", ("--visible", "tender_axles=0.5")),
    ],
)
def test_a_rate_that_changes_nothing_is_refused(
    telltale: Telltale, guide: str, rate: tuple[str, str]
) -> None:
    """It was taken, printed as "right given" beside another figure, and used nowhere."""
    code, out, err = telltale("guide", "simulate", guide, "--items", 5, *rate)
    assert (code, out) == (2, "")
    assert f"{rate[0]} " in err
    assert rate[1].partition("=")[0] not in err.partition("a cue of ")[2]


@pytest.mark.parametrize("option", ["--visible", "--sensitivity", "--specificity"])
def test_every_rate_that_is_offered_changes_the_figures(telltale: Telltale, option: str) -> None:
    plain = telltale("guide", "simulate", "wayfarer", "--items", 100)[1].splitlines()
    _, _, err = telltale("guide", "simulate", "wayfarer", option, "x=1")
    offered = err.partition("a cue of ")[2].partition(". See")[0].split(", ")
    assert len(offered) == (3 if option == "--specificity" else 8)
    start = plain.index("realistic eye")
    # Far from every rate that the eye has by itself, measured or chosen: the engines and the
    # luck are the same, and some cues decide of few engines.
    share = 1.0 if option == "--visible" else 0.4
    for cue in offered:
        given = telltale("guide", "simulate", "wayfarer", "--items", 100, option, f"{cue}={share}")
        assert given[0] == 0
        assert given[1].splitlines()[start:] != plain[start:], cue


# --- archives ----------------------------------------------------------------------


def test_a_row_of_engines_csv_that_fits_no_photo_is_told_of(
    telltale: Telltale, tmp_path: Path
) -> None:
    """A name that was mistyped there was passed over in silence."""
    fill(tmp_path, 2)
    (tmp_path / "broken.jpg").write_bytes(b"no picture")
    rows = ["000.jpg,a", "00?.jpg,b", "001.JPG,c", "old/*,d", "broken.jpg,e"]
    (tmp_path / "engines.csv").write_text("\n".join(["photo,engine", *rows]), encoding="utf-8")
    for dry in (["--dry-run"], []):
        _, _, err = telltale("tag", tmp_path, "--jobs", 1, *dry)
        assert "engines.csv: no photo fits 001.JPG, old/*\n" in err
    many = [f"{number}.png,x" for number in range(20)]
    (tmp_path / "engines.csv").write_text("\n".join(["photo,engine", *many]), encoding="utf-8")
    _, _, err = telltale("tag", tmp_path, "--jobs", 1)
    assert "no photo fits 0.png, 1.png, 2.png, 3.png, 4.png and 15 more\n" in err
    (tmp_path / "engines.csv").write_text("photo,engine\n*,one\n", encoding="utf-8")
    assert "no photo fits" not in telltale("tag", tmp_path, "--jobs", 1)[2]


def test_a_row_of_engines_csv_against_an_earlier_one_is_told_of(
    telltale: Telltale, tmp_path: Path
) -> None:
    """The first of two rows that gave a photo to two engines counted, in silence."""
    fill(tmp_path, 3)
    rows = ["000.jpg,a", "000.jpg,b", "00?.jpg,c", "001.jpg,d", "000.jpg,a", "002.jpg,c"]
    (tmp_path / "engines.csv").write_text("\n".join(["photo,engine", *rows]), encoding="utf-8")
    for dry in (["--dry-run"], []):
        _, _, err = telltale("tag", tmp_path, "--jobs", 1, *dry)
        # What is said of the photos that are left, or once more, is followed.
        assert err == (
            "telltale: engines.csv: not followed, as an earlier line says otherwise: "
            "000.jpg as b, 001.jpg as d\n"
        )
    (tmp_path / "engines.csv").write_text("photo,engine\n000.jpg,a\n*,b\n", encoding="utf-8")
    assert "not followed" not in telltale("tag", tmp_path, "--jobs", 1)[2]


@pytest.mark.parametrize("command", [("find", "", "--dir"), ("shelf",)])
def test_a_folder_that_is_not_there_is_not_said_to_lack_tags(
    telltale: Telltale, tmp_path: Path, command: tuple[str, ...]
) -> None:
    """ "not tagged yet; run: telltale tag" sent people to a command that refused it too."""
    folder = tmp_path / "photo"
    code, _, err = telltale(*command, folder)
    assert (code, err) == (50, f"telltale: {folder}: no such folder\n")
    folder.mkdir()
    code, _, err = telltale(*command, folder)
    assert (code, "not tagged yet" in err) == (50, True)


class Interrupted:
    """An eye during whose fourth look a person stops the run."""

    version = "fake"

    def __init__(self) -> None:
        self.looks = 0

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        self.looks += 1
        if self.looks == 4:
            raise KeyboardInterrupt
        return FakeEye().look(photo)


def test_what_was_seen_before_a_stop_is_kept(tmp_path: Path) -> None:
    """All since the last sixteen photos was lost, of small archives all there was."""
    fill(tmp_path, 6)
    eye = Interrupted()
    with pytest.raises(KeyboardInterrupt):
        tag(tmp_path, lambda: eye)
    summary = tag(tmp_path)
    assert (summary.unchanged, summary.looked_at, summary.failed) == (3, 3, 0)


# --- guides tried out --------------------------------------------------------------


def test_one_engine_drawn_is_no_engines(telltale: Telltale) -> None:
    """ "1 engines drawn", and "Of 1 engines drawn, 1 (100.0 %) are as made"."""
    _, out, _ = telltale("guide", "simulate", "brindle", "--items", 1)
    text = " ".join(out.split())
    assert "1 engine drawn by the guide's own rates" in text
    assert "Of 1 engine drawn, " in text
    assert "1 engines" not in text
    for wrong in (" 1 (100.0 %) are ", " 1 (100.0 %) were ", " 1 (100.0 %) belong "):
        assert wrong not in text
    text = " ".join(telltale("guide", "simulate", "brindle", "--items", 20)[1].split())
    assert "20 engines drawn by" in text and "Of 20 engines drawn, " in text
