"""Listings judged again: after a stop or a change, and with photos that others show."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from answers import FakeEye
from eyes import LOOKS, PAUSE, command
from listing_files import EYE, by_id, judged, write_photos, write_table
from vision.guide import builtin_text
from vision.records import ListingsError


def test_a_second_run_looks_at_nothing(telltale: Any, shop: Path) -> None:
    first = judged(telltale, shop)
    blind = FakeEye({name: None for name in ("w6", "w6copy", "w3", "dim")})
    assert judged(telltale, shop, eye=blind) == first
    newer = FakeEye(dict(blind.seen), version="newer")
    assert judged(telltale, shop, eye=newer) != first


@pytest.mark.parametrize("change", ["photo", "text", "guide"])
def test_what_has_changed_is_examined_anew(telltale: Any, shop: Path, change: str) -> None:
    judged(telltale, shop)
    more: tuple[object, ...] = ()
    if change == "photo":
        write_photos(shop.parent, ["w3.jpg"], start=9)
    elif change == "text":
        shop.write_text(shop.read_text().replace(",with lever", ",no lever"), "utf-8", newline="")
    else:
        # With the lever at the same place: the photos are known.
        moved = builtin_text("brindle").replace("lever_at = 0.6", "lever_at = 0.54")
        (shop.parent / "brindle.toml").write_text(moved, "utf-8")
        more = ("--guide", shop.parent / "brindle.toml")
    records = by_id(judged(telltale, shop, *more, eye=FakeEye({"w3": None})))
    # A photo that has changed is looked at; of the others it is known what they show.
    verdicts = {"photo": "cannot tell", "text": "supported", "guide": "contradicted"}
    assert records["wrong"]["verdict"] == verdicts[change]
    guide = records["true"]["answer"]["versions"]["guide"]
    assert guide.startswith("brindle" if change == "guide" else "wayfarer")
    if change == "photo":
        assert records["true"]["verdict"] == "supported"


def test_a_guide_with_the_lever_elsewhere_has_photos_looked_at_again(
    telltale: Any, shop: Path
) -> None:
    judged(telltale, shop)
    blind = FakeEye({"w3": None})
    records = by_id(judged(telltale, shop, "--guide", "brindle", eye=blind))
    assert records["wrong"]["verdict"] == "cannot tell"
    # What was seen for the first guide is remembered beside it.
    assert by_id(judged(telltale, shop, eye=blind))["wrong"]["verdict"] == "contradicted"


@pytest.mark.parametrize("damage", [b"no database", b""])
def test_damaged_records_are_made_anew(telltale: Any, shop: Path, damage: bytes) -> None:
    first = judged(telltale, shop)
    for name in ("listings.sqlite-wal", "listings.sqlite-shm"):
        (shop.parent / ".telltale" / name).unlink(missing_ok=True)
    (shop.parent / ".telltale" / "listings.sqlite").write_bytes(damage * 100)
    assert judged(telltale, shop) == first


@pytest.mark.slow
def test_killed_at_any_moment_it_goes_on_and_doubles_nothing(tmp_path: Path) -> None:
    count = 24
    write_photos(tmp_path, [f"{n}.jpg" for n in range(count)])
    rows = [
        {"id": str(n), "title": "Wayfarer with lever", "photos": f"{n}.jpg"} for n in range(count)
    ]
    table = write_table(tmp_path / "t.csv", rows)
    looks = tmp_path / "looks.txt"
    looks.touch()
    noted = {LOOKS: str(looks), PAUSE: "0.03"}
    base = tmp_path / ".telltale" / "listings.sqlite"
    kept = 0
    import time

    for _ in range(3):
        run = command("listings", table, "--jobs", 1, "--json", eye="slow_eye", **noted)
        deadline = time.monotonic() + 20
        while _kept(base) < kept + 4 and run.poll() is None and time.monotonic() < deadline:
            time.sleep(0.02)
        run.kill()
        run.communicate()
        kept = _kept(base)
    assert 0 < kept < count
    done = len(looks.read_text().splitlines())
    run = command("listings", table, "--jobs", 2, "--json", eye="slow_eye", **noted)
    out, err = run.communicate(timeout=60)
    assert run.returncode == 0, err.decode()
    ids = [json.loads(line)["id"] for line in out.decode().splitlines()]
    assert sorted(ids, key=int) == [str(n) for n in range(count)]
    assert _kept(base) == count
    assert len(looks.read_text().splitlines()) - done == count - kept


def _kept(base: Path) -> int:
    try:
        with sqlite3.connect(f"{base.as_uri()}?mode=ro", uri=True) as held:
            return int(held.execute("SELECT count(*) FROM records").fetchone()[0])
    except sqlite3.Error:
        return 0


SHARED = {"1": "a.jpg|b.jpg", "2": "b2.jpg|c.jpg", "3": "c.jpg|b.jpg|d.jpg", "4": "a.jpg|c2.jpg"}


@pytest.fixture
def sharing(tmp_path: Path) -> Path:
    """Four listings whose ten photos are four pictures, some under two names."""
    write_photos(tmp_path, ["a.jpg", "b.jpg", "c.jpg", "d.jpg"])
    for copy, name in (("b2.jpg", "b.jpg"), ("c2.jpg", "c.jpg")):
        (tmp_path / copy).write_bytes((tmp_path / name).read_bytes())
    rows = [
        {"id": id, "title": f"Wayfarer with lever, lot {id}", "photos": photos}
        for id, photos in SHARED.items()
    ]
    return write_table(tmp_path / "t.csv", rows)


@pytest.mark.slow
def test_each_content_is_looked_at_once(sharing: Path) -> None:
    """Each listing looked at its own photos, however many showed the same one."""
    looks = sharing.with_name("looks.txt")
    words = ["listings", sharing, "--json", "--jobs"]
    noted = {LOOKS: str(looks), PAUSE: "0.2"}
    found = []
    for jobs in (1, 2, 4):
        looks.write_text("", "utf-8")
        run = command(
            *words, jobs, "--state", sharing.with_name(f"{jobs}"), eye="slow_eye", **noted
        )
        out, err = run.communicate(timeout=60)
        assert run.returncode == 0, err.decode()
        found.append(out)
        contents = [line.split()[0] for line in looks.read_text("utf-8").splitlines()]
        assert len(contents) == len(set(contents)) == 4, jobs
    assert found[0] == found[1] == found[2]
    # Alone, with nothing to share and nothing known, each says the same of its photos.
    shared = by_id([json.loads(line) for line in found[0].splitlines()])
    for id, photos in SHARED.items():
        rows = [{"id": id, "title": f"Wayfarer with lever, lot {id}", "photos": photos}]
        looks.write_text("", "utf-8")
        table = write_table(sharing.with_name("one.csv"), rows)
        state = sharing.with_name(f"alone{id}")
        run = command(
            "listings", table, "--json", "--jobs", 1, "--state", state, eye="slow_eye", **noted
        )
        (record,) = [json.loads(line) for line in run.communicate(timeout=60)[0].splitlines()]
        assert len(looks.read_text("utf-8").splitlines()) == len(photos.split("|"))
        for name in ("photos", "claims", "answer", "verdict", "ask", "together", "complete"):
            assert record[name] == shared[id][name], (id, name)


def test_a_listing_that_comes_again_with_another_price_needs_no_look(
    telltale: Any, shop: Path
) -> None:
    first = by_id(judged(telltale, shop))
    shop.write_text(shop.read_text().replace("300", "280"), "utf-8", newline="")
    blind = FakeEye({name: None for name in ("w6", "w6copy", "w3", "dim")})
    again = by_id(judged(telltale, shop, eye=blind))
    assert (first["true"]["price"], again["true"]["price"]) == ("300", "280")
    assert again["true"]["answer"] == first["true"]["answer"]


@pytest.mark.slow
def test_a_photo_that_kills_its_reader_costs_one_listing(tmp_path: Path) -> None:
    names = ["a.jpg", "deadly.jpg", "b.jpg", "c.jpg"]
    write_photos(tmp_path, names)
    table = write_table(
        tmp_path / "t.csv", [{"id": n, "title": "with lever", "photos": n} for n in names]
    )
    run = command("listings", table, "--jobs", 2, "--json", eye="deadly_eye")
    out, err = run.communicate(timeout=90)
    assert run.returncode == 0, err.decode()
    records = by_id([json.loads(line) for line in out.decode().splitlines()])
    assert set(records) == set(names)
    assert "died" in records["deadly.jpg"].pop("failure")
    assert all("failure" not in r for r in records.values())


def test_two_runs_at_once_do_not_mix(telltale: Any, shop: Path) -> None:
    from vision.listings.store import opened

    with opened(shop.parent / ".telltale"):
        code, _, err = telltale("listings", shop, "--jobs", 1, eye=EYE)
    assert code == ListingsError.exit_code
    assert "another run" in err
