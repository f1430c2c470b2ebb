"""The page's server: the answer, its words and files, the archive and the documents."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from answers import FakeEye
from page_server import Phone, running
from shapes import encoded, engine
from vision.cli import run
from vision.guide import load_guide
from vision.page import Keeper, PageLimits
from vision.page.assets import english, load_assets
from vision.page.desk import plain_name
from vision.page.shown import choices, guide_table
from vision.pipeline import load_eye
from vision.records import ArchiveError, Cue, PageError, State

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "demo_images"
PHOTO = ("engine.png", encoded(engine()))


# --- the answer ------------------------------------------------------------------


def test_the_answer_is_the_commands_own_on_the_same_bytes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every demo photo, by the shipped networks, with and without statements."""
    names = sorted(path.name for path in DEMO.glob("*.jpg"))
    assert len(names) >= 14
    monkeypatch.chdir(DEMO)
    eye = load_eye()

    def command(*arguments: str) -> list[Any]:
        assert run(["date", "--json", *arguments], load_eye=lambda: eye) == 0
        return [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    with running(eye) as port:
        phone = Phone(port)
        phone.enter()

        def page(*names: str, **fields: Any) -> Any:
            return phone.date(*((n, Path(n).read_bytes()) for n in names), **fields).json["answer"]

        assert [page(name) for name in names] == command(*names)
        # Remembered, not read again, and still the same.
        assert [page(name) for name in names[:2]] == command(*names[:2])
        first, second = (n for n in names if n.startswith("wayfarer_w3") or "w4.jpg" in n)
        said = ["smoke_unit=absent", "cab_number=316"]
        flags = [flag for statement in said for flag in ("--saw", statement)]
        assert [page(first, saw=said)] == command(first, *flags)
        assert [page(first, second)] == command(first, second, "--together")


def test_words_are_those_of_the_report(phone: Phone) -> None:
    shown = phone.date(PHOTO).json["shown"]
    # FakeEye's cues fit W3 of the guide's table: no lever, a linkage.
    assert shown["candidates"][0]["id"] == "W3"
    assert re.fullmatch(r"19\d\d.*", shown["years"])
    assert re.fullmatch(r"[a-z ]+ \((over )?\d+ %\)", shown["sure"])
    assert [cue["name"] for cue in shown["cues"]][:3] == [
        "switch_lever",
        "side_linkage",
        "edge_stripe",
    ]
    assert 1 <= len(shown["looks"]) <= 3


def test_what_is_unclear_counts_and_the_page_says_so() -> None:
    hidden = Cue("switch_lever", State.UNSEEN)
    unclear = Cue("side_linkage", State.UNSEEN, p_present=0.9, clear=1.0, in_sight=True)
    number = Cue("cab_number", State.UNSEEN, values={"322": 0.5}, in_sight=True)
    with running(FakeEye({"engine": (hidden, unclear, number)})) as port:
        phone = Phone(port)
        phone.enter()
        cues = {cue["name"]: cue for cue in phone.date(PHOTO).json["shown"]["cues"]}
    assert cues["switch_lever"]["speaks"] == "changes_nothing"
    assert cues["side_linkage"]["speaks"] in ("for", "against")
    assert cues["cab_number"]["reading"] == "unclear, perhaps 322 (50 %)"
    assert cues["cab_number"]["speaks"] in ("for", "against")


def test_a_button_changes_the_answer_and_a_skipped_look_goes(phone: Phone) -> None:
    before = phone.date(PHOTO).json["shown"]
    look = before["looks"][0]
    after = phone.date(PHOTO, saw=[look["choices"][0]["saw"]]).json["shown"]
    assert look["name"] not in [other["name"] for other in after["looks"]]
    assert after["candidates"] != before["candidates"]
    skipped = phone.date(PHOTO, skip=[look["name"]]).json["shown"]
    assert skipped["candidates"] == before["candidates"]
    assert look["name"] not in [other["name"] for other in skipped["looks"]]


def test_every_choice_is_a_statement_that_the_guide_knows(phone: Phone) -> None:
    guide = load_guide()
    names = (
        *("switch_lever", "side_linkage", "edge_stripe", "cab_number"),
        *("driving_axles", "tender_axles", "tender_lamps", "tender_lettering", *guide.check_names),
    )
    for name in names:
        made = choices(guide, name)
        assert len(made) >= 2
        for choice in made:
            if "ask" in choice:
                choice = choice | {"saw": f"{choice['ask']}=2B"}
            assert phone.date(PHOTO, saw=[choice["saw"]]).status == 200, choice
            assert ("word" in choice) != ("text" in choice)
    assert [c.get("text") for c in choices(guide, "cab_number")] == ["310", "316", "322", None]


def test_a_photo_without_an_engine_is_an_answer() -> None:
    with running(FakeEye({"engine": None})) as port:
        phone = Phone(port)
        phone.enter()
        reply = phone.date(PHOTO)
        assert reply.status == 200
        assert reply.json["answer"]["not_found"] == "nothing like a locomotive"
        assert reply.json["shown"]["found"] is False
        assert reply.json["shown"]["looks"] == []


def test_the_guide_as_a_table(phone: Phone) -> None:
    table = phone.ask("GET", "/guide").json
    assert table == guide_table(load_guide())
    row = next(row for row in table["rows"] if row["id"] == "W6")
    assert row["cells"]["edge_stripe"] == "red"
    assert row["cells"]["cab_number"] == "322"
    assert row["cells"]["switch_lever"] == "present"
    assert row["cells"]["tender"] == "M"
    assert row["years"] == "1938–1939"


def test_shared_as_one_file_that_needs_nothing_else(phone: Phone) -> None:
    note = "table 7, <script>alert(1)</script>"
    text = phone.date(PHOTO, path="/share", note=[note]).json["html"]
    assert "<script" not in text
    assert "table 7, &lt;script&gt;" in text
    assert text.count("data:image/jpeg;base64,") == 1
    assert "img-src data:" in text
    assert not re.search(r"(src|href)=\"(?!data:)", text)


# --- words and files -------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\a\\engine.jpg", "engine.jpg"),
        ("..", "photo"),
        ("", "photo"),
        ("a\nb\x1b[31m.jpg", "ab[31m.jpg"),
        ("\u202egpj.exe", "gpj.exe"),
        ("x" * 300, "x" * 80),
    ],
)
def test_file_names_are_made_plain(name: str, plain: str) -> None:
    assert plain_name(name) == plain


def test_every_string_is_in_one_place() -> None:
    words = english()
    folder = ROOT / "vision" / "page" / "static"
    scripts = {path.name: path.read_text("utf-8") for path in folder.glob("*.js")}
    used = {key for text in scripts.values() for key in re.findall(r'\bsay\(\s*"(\w+)"', text)}
    used |= set(re.findall(r"\{\{(\w+)\}\}", (folder / "page.html").read_text("utf-8")))
    assert used <= set(words)
    # Whatever code a refusal carries, there are words for it.
    source = "".join(path.read_text("utf-8") for path in (ROOT / "vision" / "page").glob("*.py"))
    codes = set(re.findall(r'(?:refusal|Refused)\(\s*\w+, "(\w+)"', source))
    codes |= set(re.findall(r'return \d{3}, "(\w+)"', source))
    codes |= set(re.findall(r', \d{3}, "(\w+)"\)', source))
    assert {"busy", "host", "photo_empty", "upload_slow"} <= codes
    assert {f"error_{code}" for code in codes} <= set(words)
    # No text but figures stands in the page's own mark-up.
    html = re.sub(r"<[^>]*>", "", (folder / "page.html").read_text("utf-8"))
    assert re.sub(r"\{\{(\w+|\*)\}\}|[\d\s]", "", html) == ""


def test_words_cannot_become_markup() -> None:
    words = english() | {"snap": "</script><b>&", "title": '"quoted"'}
    assets = load_assets(words)
    page = assets["/"].content.decode()
    assert "</script><b>" not in page
    block = page.partition('id="words">')[2].partition("</script>")[0]
    assert json.loads(block) == words
    assert json.loads(assets["/telltale.webmanifest"].content)["name"] == '"quoted"'


def test_nothing_comes_from_outside() -> None:
    for path, asset in load_assets().items():
        found = re.findall(
            r"(?:https?:)?//[\w.-]+", re.sub(r"//[^\n]*\n", "\n", asset.content.decode())
        )
        assert set(found) <= {"http://www.w3.org", "https://www.w3.org"}, path


def test_unchanged_files_are_not_sent_again(port: int) -> None:
    phone = Phone(port)
    first = phone.ask("GET", "/page.css")
    again = phone.ask("GET", "/page.css", headers={"If-None-Match": first.headers["etag"]})
    assert (first.status, again.status, again.body) == (200, 304, b"")


# --- the archive -----------------------------------------------------------------


def test_nothing_is_kept_unless_asked(phone: Phone) -> None:
    assert phone.ask("GET", "/start").json["archive"] is False
    assert phone.date(PHOTO, path="/keep").status == 404


def test_saved_like_any_other_photo_of_the_archive(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`telltale tag` afterwards finds nothing left to do, and `find` finds the engine."""
    eye = FakeEye()
    keeper = Keeper(tmp_path, load_guide(), eye)
    rear = ("../rear.jpg", encoded(engine(200, 300), "JPEG"))
    with running(eye, keeper=keeper) as port:
        phone = Phone(port)
        assert phone.enter().json["archive"] is True
        fields = {"note": ["table 7"], "saw": ["cab_number=316"]}
        kept = phone.date(PHOTO, rear, path="/keep", **fields).json
        again = phone.date(PHOTO, path="/keep").json
        bad = phone.date(("a.jpg", b"no photo"), path="/keep")
    assert kept["tagged"] and again["tagged"]
    assert bad.status == 422
    folder = tmp_path / kept["kept"]
    assert re.fullmatch(r"from-the-page/\d{4}-\d\d-\d\d/\d\d-\d\d-\d\d", kept["kept"])
    # By the time of day, not by a number that on a phone means another engine.
    assert re.fullmatch(r"from-the-page/\d{4}-\d\d-\d\d/\d\d-\d\d-\d\d(-2)?", again["kept"])
    assert again["kept"] != kept["kept"]
    names = {path.name for path in folder.iterdir()}
    assert {"photo-1.png", "photo-2.jpg", "note.txt"} < names
    assert (folder / "photo-1.png").read_bytes() == PHOTO[1]
    assert (folder / "note.txt").read_text() == "table 7\n--saw cab_number=316\n"
    sidecars = sorted(path.name for path in folder.glob("*.xmp"))
    assert len(sidecars) == 2
    assert [p.name for p in folder.parent.iterdir() if p.name.startswith(".")] == []
    capsys.readouterr()
    assert run(["tag", str(tmp_path), "--jobs", "1"], load_eye=lambda: eye) == 0
    assert "0 looked at" in capsys.readouterr().out
    assert run(["find", "1930..1939", "--dir", str(tmp_path)], load_eye=lambda: eye) == 0
    assert f"{kept['kept']}/photo-1.png" in capsys.readouterr().out


def test_a_busy_archive_still_takes_the_photos(tmp_path: Path) -> None:
    from vision.archive.files import sole_run

    keeper = Keeper(tmp_path, load_guide(), FakeEye())
    with (
        running(keeper=keeper) as port,
        sole_run(tmp_path, tmp_path / ".telltale" / "index.sqlite"),
    ):
        phone = Phone(port)
        phone.enter()
        kept = phone.date(PHOTO, path="/keep").json
    assert kept["tagged"] is False
    assert (tmp_path / kept["kept"] / "photo-1.png").exists()
    assert keeper.tag()
    assert list((tmp_path / kept["kept"]).glob("*.xmp"))


def test_an_archive_that_is_not_there(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path / "none", load_guide(), FakeEye())
    with pytest.raises(ArchiveError):
        keeper.tag()


# --- the documents ---------------------------------------------------------------


def test_the_limits_in_the_readme_are_the_pages_own() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.partition("## At a show")[2].partition("\n## ")[0]
    limits = PageLimits()
    for text in (
        f"more than {limits.photos} photos",
        f"{limits.photo_bytes // 10**6} MB or {limits.photo_pixels // 10**6} megapixels a photo",
        f"{limits.request_bytes // 10**6} MB a request",
        f"more than {limits.upload_s:.0f} seconds",
        f"past {limits.places}, or {limits.places_each} of one phone",
        f"the last {limits.looks} photos",
    ):
        assert text in section
    shrink = (ROOT / "vision" / "page" / "static" / "shrink.js").read_text(encoding="utf-8")
    (side,) = re.findall(r"const SIDE = (\d+);", shrink)
    assert f"shrinks large photos to {side} pixels" in section


def test_without_its_extra_the_page_says_what_to_install() -> None:
    code = (
        "import sys\nsys.modules['starlette'] = None\n"
        "from vision.cli import run\nsys.exit(run(['page']))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert result.returncode == PageError.exit_code
    assert "telltale-vision[page]" in result.stderr
    assert result.stderr.count("\n") == 1
