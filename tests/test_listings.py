"""The command `listings`: files in, a ranked report out, and nothing lost on the way."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import sqlite3
import threading
import zipfile
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from answers import FakeEye
from eyes import LOOKS, PAUSE, command
from listing_files import HIDDEN, W, engine_cues, eye, write_photos, write_table
from shapes import encoded, engine
from test_listings_fetch import PICTURE, Server, Shop
from vision.guide import load_guide
from vision.listings.pictures import flat_share, likeness, listed_path, reused
from vision.listings.sheet import COLUMNS, neutral
from vision.photo import open_photo, photo_from_bytes
from vision.records import ListingsError, PhotoMissing, TelltaleError
from vision.shelf import Want, take_stock, wants_of, wants_text

DEMO = Path(__file__).parent.parent / "demo_images"
HOSTILE = '"><img src=x onerror=alert(1)><script>alert(2)</script>'


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Four listings: true, wrong in one claim, undecided, and one with another's picture."""
    write_photos(tmp_path, ["w6.jpg", "w3.jpg", "dim.jpg"])
    (tmp_path / "w6copy.jpg").write_bytes((tmp_path / "w6.jpg").read_bytes())
    write_table(
        tmp_path / "shop.csv",
        [
            {
                "id": "true",
                "title": "Wayfarer 1938 with lever",
                "price": "300",
                "currency": "EUR",
                "photos": "w6.jpg",
            },
            {
                "id": "wrong",
                "title": "Wayfarer 1934",
                "description": "with lever",
                "price": "200",
                "currency": "EUR",
                "link": "https://shop.example/2",
                "photos": "w3.jpg",
            },
            {
                "id": "dim",
                "title": "Wayfarer, no lever",
                "price": "100",
                "currency": "EUR",
                "photos": "dim.jpg",
            },
            {"id": "copy", "title": "Wayfarer", "photos": "w6copy.jpg"},
        ],
    )
    return tmp_path / "shop.csv"


EYE = eye({"w6": W["W6"], "w6copy": W["W6"], "w3": W["W3"], "dim": HIDDEN})


def judged(telltale: Any, *arguments: object, eye: FakeEye = EYE) -> list[dict[str, Any]]:
    code, out, _ = telltale("listings", *arguments, "--json", "--jobs", 1, eye=eye)
    assert code in (0, ListingsError.exit_code)
    return [json.loads(line) for line in out.splitlines()]


def by_id(records: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {r["id"]: r for r in records if "id" in r}


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
    for told in (out, page.read_text("utf-8"), table.read_text("utf-8")):
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
    told = {p.splitlines()[1].split("(")[-1].strip(") "): p for p in out.split("\n\n")[:4]}
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


# --- the table ------------------------------------------------------------------------


# OWASP, "CSV Injection": the beginnings that make a cell a formula; from memory.
@pytest.mark.parametrize(
    "cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1", "＠x"]
)
def test_no_cell_is_a_formula(cell: str) -> None:
    assert neutral(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["310", "a=b", "", "0.5", "Wayfarer - 1934"])
def test_other_cells_stay(cell: str) -> None:
    assert neutral(cell) == cell


def test_the_table_is_rfc_4180_and_without_life(telltale: Any, shop: Path) -> None:
    rows = [
        {
            "id": "=cmd|'/c calc'!A1",
            "title": '=HYPERLINK("x")',
            "description": '@x "quoted", with lever',
            "photos": "+x.jpg",
            "link": "-1",
        }
    ]
    write_table(shop, rows)
    out = shop.parent / "out" / "ranked.csv"
    out.parent.mkdir()
    telltale("listings", shop, "--csv", out, "--jobs", 1, eye=EYE)
    data = out.read_bytes()
    assert data.count(b"\r\n") == 2
    assert b"\n" not in data.replace(b"\r\n", b"")
    head, row = csv.reader(io.StringIO(data.decode(), newline=""))
    assert tuple(head) == COLUMNS
    assert not [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t"))]
    assert row[COLUMNS.index("id")] == "'=cmd|'/c calc'!A1"


# --- the page -------------------------------------------------------------------------


def test_the_page_escapes_everything_and_needs_nothing(telltale: Any, shop: Path) -> None:
    write_photos(shop.parent, ["w6.jpg"])
    rows = [
        {
            "id": HOSTILE,
            "title": HOSTILE,
            "description": f"{HOSTILE} with lever {HOSTILE}",
            "link": "javascript:alert(3)",
            "photos": f"w6.jpg|{HOSTILE}.jpg",
            "currency": HOSTILE,
        },
        {
            "id": "2",
            "title": "x",
            "link": 'https://shop.example/" onmouseover="alert(4)',
            "photos": "w6.jpg",
        },
    ]
    write_table(shop, rows)
    page = shop.parent / "page.html"
    telltale("listings", shop, "--html", page, "--jobs", 1, eye=EYE)
    text = page.read_text(encoding="utf-8")
    import lxml.html

    tree = lxml.html.fromstring(text)
    assert not tree.xpath("//script")
    assert not [a for e in tree.iter() for a in e.attrib if a.startswith("on")]
    assert all(s.startswith("data:image/webp;base64,") for s in tree.xpath("//img/@src"))
    assert len(tree.xpath("//img")) == 2
    links = tree.xpath("//a/@href")
    assert links == ['https://shop.example/" onmouseover="alert(4)']
    assert HOSTILE in tree.xpath("string(//article[1])") + tree.xpath("string(//article[2])")
    assert "default-src 'none'" in tree.xpath("//meta[@http-equiv]/@content")[0]


def test_the_page_strikes_what_is_contradicted(telltale: Any, shop: Path) -> None:
    page = shop.parent / "page.html"
    telltale("listings", shop, "--html", page, "--jobs", 1, eye=EYE)
    import lxml.html

    tree = lxml.html.fromstring(page.read_text(encoding="utf-8"))
    assert [e.text_content() for e in tree.xpath("//s")] == ["lever"]
    assert tree.xpath("//mark/text()") == ["lever"]
    order = [r["title"] for r in judged(telltale, shop)]
    assert [h.text_content() for h in tree.xpath("//h2")][:4] == [
        f"{n}. {t}" for n, t in enumerate(order, 1)
    ]


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


# --- stopping and going on ------------------------------------------------------------


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
        more = ("--guide", "brindle")
    records = by_id(judged(telltale, shop, *more, eye=FakeEye({"w3": None})))
    # A photo that has changed is looked at; of the others it is known what they show.
    verdicts = {"photo": "cannot tell", "text": "supported", "guide": "contradicted"}
    assert records["wrong"]["verdict"] == verdicts[change]
    guide = records["true"]["answer"]["versions"]["guide"]
    assert guide.startswith("brindle" if change == "guide" else "wayfarer")
    if change == "photo":
        assert records["true"]["verdict"] == "supported"


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


# --- pictures -------------------------------------------------------------------------


def test_a_copy_is_known_and_another_picture_is_not() -> None:
    """Copies as sellers make them: smaller, saved again, brighter; and 15 demo photos."""
    from PIL import Image, ImageEnhance

    photos = {p.stem: open_photo(p) for p in sorted(DEMO.glob("*.jpg"))}
    hashes = {name: [likeness(photo)] for name, photo in photos.items()}
    near = reused(hashes)
    assert set(near) <= {"wayfarer_w4", "wayfarer_w4_swapped_tender"}
    picture = Image.fromarray(photos["wayfarer_w6"].pixels)
    for copy in (picture.resize((600, 450)), ImageEnhance.Brightness(picture).enhance(1.2)):
        again = photo_from_bytes(encoded(copy, "JPEG", quality=60), "copy")
        found = reused(hashes | {"copy": [likeness(again)]})
        assert found["copy"] == ("wayfarer_w6",)


def test_drawings_are_more_even_than_photographs() -> None:
    from vision.listings.pictures import FLAT_SHARE

    for format in ("PNG", "JPEG"):
        assert flat_share(photo_from_bytes(encoded(engine(), format), "x")) >= FLAT_SHARE
    for path in DEMO.glob("*.jpg"):
        assert flat_share(open_photo(path)) < FLAT_SHARE


def test_a_drawing_is_noted(telltale: Any, tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(encoded(engine()))
    (record,) = judged(
        telltale, write_table(tmp_path / "t.csv", [{"id": "1", "title": "x", "photos": "a.png"}])
    )
    assert "perhaps drawn, or a stock picture" in record["notes"][0]


def test_errors_are_ours() -> None:
    assert issubclass(ListingsError, TelltaleError)
