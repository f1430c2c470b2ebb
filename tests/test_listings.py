"""The command `listings`: files in, a ranked report out, and nothing lost on the way."""

from __future__ import annotations

import csv
import hashlib
import io
import threading
import zipfile
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from listing_files import (
    EYE,
    W,
    by_id,
    engine_cues,
    eye,
    judged,
    unwrapped,
    write_photos,
    write_table,
)
from shapes import encoded, engine
from test_listings_fetch import PICTURE, Server, Shop
from vision.guide import load_guide
from vision.listings.pictures import listed_path
from vision.records import ListingsError, PhotoMissing, TelltaleError
from vision.shelf import Want, take_stock, wants_of, wants_text

DEMO = Path(__file__).parent.parent / "demo_images"


def test_what_is_said_of_each_listing(telltale: Any, shop: Path) -> None:
    records = by_id(judged(telltale, shop))
    assert {id: r["verdict"] for id, r in records.items()} == {
        "true": "supported",
        "wrong": "contradicted",
        "dim": "cannot tell",
        "copy": "cannot tell",
    }
    (claim,) = [c for c in records["wrong"]["claims"] if c["verdict"] == "contradicted"]
    assert claim["text"] == "the photos show no switch lever; the listing says there is one"
    assert claim["span"] == ["description", 5, 10]
    assert claim["ratio"] == pytest.approx(1 / 99, rel=1e-3)
    assert (claim["photo"], claim["where"]) == (0, [60.0, 60.0, 90.0, 90.0])
    assert len(claim["region"]) == 4


def test_the_wanted_come_first_and_weights_change_the_order(telltale: Any, shop: Path) -> None:
    assert judged(telltale, shop, "--want", "W3")[0]["id"] == "wrong"
    first = judged(telltale, shop, "--want", "W6")
    assert [r["id"] for r in first[:2]] == ["copy", "true"]
    wants = shop.parent / "wants.txt"
    wants.write_text("# what I lack\nW6  W5\n", encoding="utf-8")
    assert [r["id"] for r in judged(telltale, shop, "--want", wants)[:2]] == ["copy", "true"]
    shelf = shop.parent / "lacking.csv"
    shelf.write_text(
        wants_text([Want("wayfarer", "W6", "1938/1939", "lacking"), Want("brindle", "M1", "", "")]),
        encoding="utf-8",
    )
    assert [r["id"] for r in judged(telltale, shop, "--want", shelf)[:2]] == ["copy", "true"]
    # As the shelf itself writes it, with the guide's version.
    stock = take_stock((), load_guide("wayfarer"))
    lacking = tuple(w for w in wants_of(stock) if w.variation in ("W5", "W6"))
    shelf.write_text(wants_text(lacking), encoding="utf-8")
    assert judged(telltale, shop, "--want", shelf) == judged(telltale, shop, "--want", "W5,W6")
    dear = judged(telltale, shop, "--want", "W6", "--weight", "cheap=0")
    assert {r["id"]: r["value"] for r in dear}["true"] == {r["id"]: r["value"] for r in dear}[
        "copy"
    ]


def test_a_wants_list_that_names_nothing_of_the_guide_is_not_taken_for_all(
    telltale: Any, shop: Path
) -> None:
    """A shelf that lacks nothing, or one of another guide, ranked as if all were wanted."""
    for text in (wants_text(()), wants_text([Want("brindle 1", "M1", "", "lacking")]), "# all\n"):
        wants = shop.parent / "wants.csv"
        wants.write_text(text, encoding="utf-8")
        code, _, err = telltale("listings", shop, "--want", wants, eye=EYE)
        assert code == ListingsError.exit_code
        assert "leave --want away" in err


def test_a_wants_list_that_is_not_there_is_no_variation(telltale: Any, shop: Path) -> None:
    for name in ("nowhere.txt", shop.parent / "nowhere"):
        code, _, err = telltale("listings", shop, "--want", name, eye=EYE)
        assert code == ListingsError.exit_code
        assert f"{name}: no such file" in err


def test_the_next_question_is_the_best_look(telltale: Any, shop: Path) -> None:
    record = by_id(judged(telltale, shop))["dim"]
    assert record["ask"]["text"] == record["answer"]["estimate"]["look_next"][0]["instruction"]


def test_what_to_mind_goes_with_the_question_everywhere(telltale: Any, shop: Path) -> None:
    """A seller who is asked to lay an engine on its side is to unplug it first."""
    page, table = shop.parent / "page.html", shop.parent / "out.csv"
    vague = eye({"w6": engine_cues(None, None, "cream")})
    _, out, _ = telltale("listings", shop, "--jobs", 1, "--html", page, "--csv", table, eye=vague)
    ask = by_id(judged(telltale, shop, eye=vague))["true"]["ask"]
    assert ask["name"] == "axle_magnets"
    assert ask["caution"]
    for told in (unwrapped(out), page.read_text("utf-8"), table.read_text("utf-8")):
        assert ask["caution"] in told


def test_one_phrase_that_claims_two_things_is_told_apart(telltale: Any, shop: Path) -> None:
    write_table(shop, [{"id": "1", "title": "Wayfarer, red edge", "photos": "w6.jpg"}])
    (record,) = judged(telltale, shop)
    assert {c["text"].partition(":")[0] for c in record["claims"]} == {
        "edge stripe present",
        "edge stripe red",
    }


def test_a_picture_that_two_listings_show_is_noted(telltale: Any, shop: Path) -> None:
    records = by_id(judged(telltale, shop))
    assert records["true"]["same_picture_as"] == ["copy"]
    assert "a picture is also in listing true" in records["copy"]["notes"]
    assert records["wrong"]["same_picture_as"] == []


def test_photos_of_different_engines_are_noted_and_contradict_nothing(
    telltale: Any, tmp_path: Path
) -> None:
    write_photos(tmp_path, ["a.jpg", "b.jpg"])
    table = write_table(
        tmp_path / "t.csv", [{"id": "1", "title": "with lever, 1931", "photos": "a.jpg|b.jpg"}]
    )
    (record,) = judged(telltale, table, eye=eye({"a": W["W3"], "b": W["W6"]}))
    assert (
        "photos 1 and 2 may show different engines: switch lever absent in one"
        in record["notes"][0]
    )
    assert record["verdict"] == "cannot tell"


def test_the_text_names_every_claim_and_the_weights(telltale: Any, shop: Path) -> None:
    code, out, _ = telltale("listings", shop, "--jobs", 1, eye=EYE)
    assert code == 0
    assert '✗ "lever": the photos show no switch lever; the listing says there is one' in out
    assert "weights: wanted 1, together 0.5, complete 0.5, cheap 0.3" in out


def test_an_engine_that_was_hardly_seen_is_given_no_years(telltale: Any, shop: Path) -> None:
    """The text, the table and the page said "1931–1939, extremely likely" of it."""
    page, table = shop.parent / "page.html", shop.parent / "out.csv"
    _, out, _ = telltale("listings", shop, "--jobs", 1, "--html", page, "--csv", table, eye=EYE)
    told = {
        p.splitlines()[1].split("(")[-1].strip(") "): p for p in unwrapped(out).split("\n\n")[:4]
    }
    assert "by its photos not narrowed down" in told["dim"]
    assert "by its photos 1938–1939 (" in told["true"]
    rows = {row["id"]: row for row in csv.DictReader(io.StringIO(table.read_text("utf-8")))}
    assert (rows["dim"]["years"], rows["dim"]["confidence"]) == ("", "")
    assert rows["true"]["years"] == "1938/1939"
    said = page.read_text("utf-8").count("<strong>not narrowed down</strong>")
    assert said == 1


# --- rows and photos that are not as they should be -----------------------------------


def test_every_failure_stays_in_its_row(telltale: Any, tmp_path: Path) -> None:
    write_photos(tmp_path, ["w6.jpg"])
    (tmp_path / "page.jpg").write_bytes(b"<!DOCTYPE html><html>sold</html>")
    (tmp_path / "empty.jpg").write_bytes(b"")
    with zipfile.ZipFile(tmp_path / "bomb.jpg", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a", bytes(10_000_000))
    (tmp_path / "wide.png").write_bytes(_png_header(60_000, 60_000))
    (tmp_path / "cut.jpg").write_bytes(encoded(engine(), "JPEG")[:700])
    with (tmp_path / "long.jpg").open("wb") as stream:
        stream.truncate(2 * 10**9)  # two gigabytes, sparse
    (tmp_path / "out.jpg").symlink_to(DEMO / "wayfarer_w1.jpg")
    names = ["page.jpg", "empty.jpg", "bomb.jpg", "wide.png", "cut.jpg", "long.jpg", "out.jpg"]
    names += [
        "gone.jpg",
        "../x.jpg",
        "/etc/passwd",
        "file:///etc/passwd",
        "\\\\host\\x.jpg",
        "a\0b",
    ]
    names += ["https://shop.example/a.jpg", "."]
    rows = [{"id": n, "title": "with lever", "photos": f"{n}|w6.jpg"} for n in names]
    table = write_table(tmp_path / "t.csv", [r for r in rows if "\0" not in r["id"]])
    with table.open("a", encoding="utf-8") as stream:
        stream.write('short,row\r\n"open,quote\r\nlast,with lever,,,,,w6.jpg\r\n')
    records = judged(telltale, table, eye=EYE)
    found = by_id(records)
    for record in found.values():
        assert record["verdict"] == "supported", record
    errors = {id: [p["error"] for p in r["photos"] if "error" in p] for id, r in found.items()}
    assert errors.pop("last") == []
    assert all(len(words) == 1 for words in errors.values()), errors
    assert "not a picture" in errors["page.jpg"][0]
    assert "leads out of" in errors["out.jpg"][0]
    assert "--fetch" in errors["https://shop.example/a.jpg"][0]
    bad = [r for r in records if "id" not in r]
    assert len(bad) == 2


def _png_header(width: int, height: int) -> bytes:
    import struct
    import zlib

    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    crc = struct.pack(">I", zlib.crc32(head))
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + head + crc


@pytest.mark.parametrize(
    "name", ["a:b.jpg", "..", "x/../../y.jpg", "/x.jpg", "C:\\x.jpg", "http:x"]
)
def test_paths_that_lead_elsewhere(tmp_path: Path, name: str) -> None:
    with pytest.raises(PhotoMissing):
        listed_path(tmp_path, name)


def test_rows_that_cannot_be_read_give_an_exit_code_of_their_own(telltale: Any, shop: Path) -> None:
    shop.write_bytes(shop.read_bytes() + b"short,row\r\n")
    code, out, err = telltale("listings", shop, "--jobs", 1, eye=EYE)
    assert code == ListingsError.exit_code
    assert "with lever" in out
    assert "shop.csv:6" in err


@pytest.mark.parametrize(
    "arguments",
    [("--want", "W9"), ("--weight", "beauty=1"), ("--weight", "cheap=-1"), ("--guide", "nowhere")],
)
def test_orders_that_cannot_be_followed(telltale: Any, shop: Path, arguments: tuple) -> None:
    code, out, err = telltale("listings", shop, *arguments, "--jobs", 1, eye=EYE)
    assert code != 0
    assert out == ""
    assert err


def test_what_was_read_is_never_written(telltale: Any, shop: Path) -> None:
    before = shop.read_bytes()
    for option in ("--csv", "--html"):
        code, _, _ = telltale("listings", shop, option, shop, "--jobs", 1, eye=EYE)
        assert code == 40
        photo = shop.parent / "w6.jpg"
        telltale("listings", shop.parent, option, photo, "--jobs", 1, eye=EYE)
    assert shop.read_bytes() == before


# --- photos at addresses --------------------------------------------------------------


def test_photos_at_addresses(telltale: Any, tmp_path: Path) -> None:
    Shop.asked.clear()
    with Server(("127.0.0.1", 0), Shop) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        base = f"http://127.0.0.1:{server.server_address[1]}"
        photos = "|".join(f"{base}/{p}" for p in ("good", "missing", "page", "inside"))
        table = write_table(
            tmp_path / "t.csv", [{"id": "1", "title": "with lever", "photos": photos}]
        )
        refused = judged(telltale, table, "--fetch")[0]["photos"]
        assert Shop.asked == []
        assert all("private or local" in p["error"] for p in refused)
        known = hashlib.sha256(PICTURE).hexdigest()
        for _ in range(2):
            (record,) = judged(
                telltale, table, "--fetch", "--allow", "127.0.0.1", eye=eye({known: W["W6"]})
            )
            good, missing, page, inside = record["photos"]
            assert record["verdict"] == "supported"
            assert good["sha256"] == inside["sha256"] == known
            assert "404" in missing["error"]
            assert "a web page" in page["error"]
        server.shutdown()
    # What was missing is asked for again, what came is not.
    assert [path for _, path in Shop.asked].count("/good") == 2
    assert [path for _, path in Shop.asked].count("/missing") == 2


def test_errors_are_ours() -> None:
    assert issubclass(ListingsError, TelltaleError)
