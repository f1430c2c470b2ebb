"""What is kept of listings, damaged: made anew, or one line; never wrong, never a traceback."""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from listing_files import EYE, judged
from vision.listings.store import NAME, Store
from vision.listings.values import View
from vision.records import OutputError

# SQLite file format, section 1.2: unless said otherwise, pages have 4,096 bytes.
PAGE = 4096
RECORDS = {f"key {n}": {"id": str(n), "text": f"{n} " * 400} for n in range(40)}
VIEWS = tuple(View(f"{n:064x}", 1000 + n, f'{{"look": {n}}}' * 60, n % 2 == 0) for n in range(12))


def kept(folder: Path) -> Path:
    """A file of forty records and a dozen views."""
    store = Store(folder)
    for key, record in RECORDS.items():
        store.put(key, record)
    store.put("", None, VIEWS, "eye")
    store.close()
    return folder / NAME


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    kept(tmp_path)
    store = Store(tmp_path)
    assert {key: store.get(key) for key in RECORDS} == RECORDS
    assert tuple(store.view(view.sha256, "eye") for view in VIEWS) == VIEWS
    assert store.sizes("eye") == {view.bytes for view in VIEWS}
    assert (store.get("another"), store.view(VIEWS[0].sha256, "another")) == (None, None)
    store.close()


@pytest.mark.parametrize("length", [1, 40, PAGE])
def test_damage_anywhere_in_the_middle_is_never_raised_and_never_believed(
    tmp_path: Path, length: int
) -> None:
    """A page that was torn raised sqlite3.DatabaseError; a byte that flipped was believed."""
    base = kept(tmp_path)
    whole = base.read_bytes()
    drawn = random.Random(length)
    lost = 0
    for page in range(1, len(whole) // PAGE):
        at = page * PAGE + drawn.randrange(PAGE - length + 1)
        base.write_bytes(whole[:at] + drawn.randbytes(length) + whole[at + length :])
        store = Store(tmp_path)
        for key, record in RECORDS.items():
            found = store.get(key)
            assert found in (None, record)
            lost += found is None
        for view in VIEWS:
            found_view = store.view(view.sha256, "eye")
            assert found_view in (None, view)
        store.sizes("eye")
        store.put("key 0", RECORDS["key 0"], VIEWS, "eye")
        assert store.get("key 0") == RECORDS["key 0"]
        store.close()
    assert lost > 0


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        # The error that tells of it quotes the name, which is no text.
        (b"sqlite_autoindex_records_1", b"sqlite_autoindex_rec\xffrds_1"),
        (b"PRIMARY KEY, record BLOB", b"PRIMARY KEY, recxrd BLOB"),
        (b"eye TEXT, bytes INTEGER", b"eye TEXT, byt\xffs INTEGER"),
    ],
)
def test_a_name_that_is_damaged_in_the_first_page_makes_the_file_anew(
    tmp_path: Path, was: bytes, becomes: bytes
) -> None:
    """UnicodeDecodeError, or one line that asked a person to delete the file."""
    base = kept(tmp_path)
    whole = base.read_bytes()
    assert whole[:PAGE].count(was) == 1
    base.write_bytes(whole.replace(was, becomes))
    store = Store(tmp_path)
    assert store.get("key 1") is None
    assert store.view(VIEWS[0].sha256, "eye") is None
    store.put("key 1", RECORDS["key 1"], VIEWS, "eye")
    assert store.get("key 1") == RECORDS["key 1"]
    store.close()


@pytest.mark.parametrize("damage", ["page", "head", "text", "no text"])
def test_listings_with_a_record_file_damaged_in_its_middle_are_judged_anew(
    telltale: Any, shop: Path, damage: str
) -> None:
    first = judged(telltale, shop)
    base = shop.parent / ".telltale" / NAME
    whole = base.read_bytes()
    torn = {
        "page": whole[:PAGE] + b"\xff" * (2 * PAGE) + whole[3 * PAGE :],
        # Section 1.3: the version of the schema's format, 4 at most, lies at 44.
        "head": whole[:47] + b"\x09" + whole[48:],
        "text": whole.replace(b'"verdict"', b'"vbrdict"'),
        "no text": whole.replace(b'"verdict"', b'"v\xffrdict"'),
    }[damage]
    assert torn != whole
    base.write_bytes(torn)
    code, _, err = telltale("listings", shop, "--jobs", 1, eye=EYE)
    assert (code, err) == (0, "")
    assert judged(telltale, shop) == first


def test_a_record_file_that_changes_under_a_run_is_one_line(tmp_path: Path) -> None:
    base = kept(tmp_path)
    store = Store(tmp_path)
    with sqlite3.connect(base) as other:
        other.execute("DROP TABLE records")
        other.execute("DROP TABLE views")
    other.close()
    for ask in (
        lambda: store.get("key 1"),
        lambda: store.view(VIEWS[0].sha256, "eye"),
        lambda: store.sizes("eye"),
        lambda: store.put("key 1", {}),
    ):
        with pytest.raises(OutputError, match=NAME) as raised:
            ask()
        assert "\n" not in str(raised.value)
    store.close()


@pytest.mark.parametrize("whose", ["folder", "file"])
def test_a_record_file_that_cannot_be_made_anew_is_one_line(
    telltale: Any, shop: Path, whose: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = shop.parent / ".telltale" / NAME
    if whose == "folder":
        base.mkdir(parents=True)
    else:
        judged(telltale, shop)
        base.write_bytes(b"no database" * 1000)

        def refuse(path: Path, **_: object) -> None:
            raise PermissionError(13, "Permission denied", str(path))

        # Tests may run as root, whom no folder refuses.
        monkeypatch.setattr(Path, "unlink", refuse)
    code, out, err = telltale("listings", shop, "--jobs", 1, eye=EYE)
    monkeypatch.undo()
    assert (code, out, len(err.splitlines())) == (OutputError.exit_code, "", 1)
    assert str(base) in err
    assert base.exists()
