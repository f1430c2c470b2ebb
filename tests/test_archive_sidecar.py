"""Sidecars: read back by other programs, merged, and taken out again."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import rdflib
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from PIL import Image, ImageDraw
from rdflib.compare import isomorphic

from answers import answer, sighting
from archives import GUIDE
from shapes import encoded
from vision.archive.engines import sidecar_names
from vision.archive.sidecar import merge, strip
from vision.archive.tags import RegionTag, Tags, stored_box, tags_of
from vision.estimate.strength import percent
from vision.photo import photo_from_bytes
from vision.pipeline.look import Look
from vision.records import Box, Candidate, Conflict, SidecarError
from vision.report.strip import strip_lines
from vision.report.words import headline

needs_exiftool = pytest.mark.skipif(
    shutil.which("exiftool") is None,
    reason="exiftool is not installed (Debian: apt-get install libimage-exiftool-perl)",
)
TAGS = Tags(
    keywords=("telltale", "telltale/edge stripe/present", "telltale/year/1938"),
    description='edge stripe, 1938–1939: "Wayfarer" & <more>, W6',
    title='Ostrander & Fell "Wayfarer" express, W6',
    years="1938/1939",
    first_year=1938,
    last_year=1939,
    regions=(
        RegionTag("telltale:locomotive", "W6", "mainSubjectArea", 0.1, 0.2, 0.333333, 0.25),
        RegionTag("telltale:edge_stripe", "edge stripe", "subjectArea", 0.15, 0.3, 0.2, 0.05),
    ),
    more=(("Software", "0.1.0"), ("Guide", "wayfarer 1"), ("Confidence", "0.9321")),
)
OTHER = replace(TAGS, keywords=("telltale", "telltale/year/1931"), regions=TAGS.regions[:1])
FOREIGN = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
  <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
    <rdf:Description rdf:about=""
        xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/"
        xmlns:darkroom="http://example.org/darkroom/1/"
        xmp:Rating="4" darkroom:history="  kept as it is  ">
      <dc:subject>
        <rdf:Bag>
          <rdf:li>layout</rdf:li>
          <rdf:li>grandfather's</rdf:li>
        </rdf:Bag>
      </dc:subject>
      <!-- a remark -->
      <dc:title><rdf:Alt><rdf:li xml:lang="x-default">Bench</rdf:li></rdf:Alt></dc:title>
    </rdf:Description>
    <rdf:Description rdf:about="" xmlns:Iptc4xmpExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/">
      <Iptc4xmpExt:ImageRegion><rdf:Bag><rdf:li rdf:parseType="Resource">
        <Iptc4xmpExt:rId>face-1</Iptc4xmpExt:rId>
      </rdf:li></rdf:Bag></Iptc4xmpExt:ImageRegion>
    </rdf:Description>
  </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>""".encode()


def graph(xmp: bytes) -> rdflib.Graph:
    """An independent reading: the RDF graph by rdflib."""
    root = etree.fromstring(xmp)
    tag = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}RDF"
    inner = root if root.tag == tag else root.find(f".//{tag}")
    return rdflib.Graph().parse(data=etree.tostring(inner), format="xml", publicID="file:///photo")


def exiftool(path: Path, *more: str) -> dict[str, Any]:
    done = subprocess.run(
        ["exiftool", "-struct", "-j", "-n", *more, str(path)], capture_output=True, check=True
    )
    (found,) = json.loads(done.stdout)
    return dict(found)


@needs_exiftool
@pytest.mark.parametrize("existing", [None, FOREIGN], ids=["new", "merged"])
def test_exiftool_reads_every_field_back_equal(tmp_path: Path, existing: bytes | None) -> None:
    path = tmp_path / "a.jpg.xmp"
    path.write_bytes(merge(existing, TAGS))
    found = exiftool(path)
    others = [] if existing is None else ["layout", "grandfather's"]
    assert found["Subject"] == [*others, *TAGS.keywords]
    assert found["Description"] == TAGS.description
    assert found["ArtworkOrObject"] == [
        {"AOTitle": TAGS.title, "AOCircaDateCreated": "1938/1939", "By": "telltale"}
    ]
    assert (found["FirstYear"], found["LastYear"]) == (1938, 1939)
    assert {name: str(found[name]) for name, _ in TAGS.more} == dict(TAGS.more)
    ours = [r for r in found["ImageRegion"] if r["RId"].startswith("telltale:")]
    assert len(ours) == len(found["ImageRegion"]) - (existing is not None)
    for region, back in zip(TAGS.regions, ours, strict=True):
        assert (back["RId"], back["Name"]) == (region.id, region.name)
        # https://cv.iptc.org/newscodes/imageregionrole/, IPTC NewsCodes; from memory.
        assert back["RRole"][0]["Identifier"] == [
            f"http://cv.iptc.org/newscodes/imageregionrole/{region.role}"
        ]
        assert back["RegionBoundary"] == {
            "RbShape": "rectangle",
            "RbUnit": "relative",
            "RbX": region.left,
            "RbY": region.top,
            "RbW": region.width,
            "RbH": region.height,
        }


@needs_exiftool
@pytest.mark.parametrize("existing", [None, FOREIGN], ids=["new", "merged"])
def test_exiftool_finds_the_xmp_valid(tmp_path: Path, existing: bytes | None) -> None:
    path = tmp_path / "a.jpg.xmp"
    path.write_bytes(merge(existing, TAGS))
    found = exiftool(path, "-validate", "-warning", "-error")
    # Three counts: errors, warnings, minor warnings.
    assert found["Validate"] == "0 0 0"


@needs_exiftool
def test_a_sidecar_that_exiftool_wrote_over_loses_ours_and_only_ours(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg.xmp"
    path.write_bytes(merge(FOREIGN, TAGS))
    subprocess.run(
        ["exiftool", "-q", "-overwrite_original", "-XMP-dc:Subject+=shelf", str(path)], check=True
    )
    left = strip(path.read_bytes())
    assert left is not None
    path.write_bytes(left)
    found = exiftool(path)
    assert found["Subject"] == ["layout", "grandfather's", "shelf"]
    assert [region["RId"] for region in found["ImageRegion"]] == ["face-1"]
    assert (found["Rating"], found["Title"]) == (4, "Bench")
    assert not {"Description", "ArtworkOrObject", "FirstYear", "Keyword"} & set(found)


def test_merging_keeps_all_that_others_say() -> None:
    before, after = graph(FOREIGN), graph(merge(FOREIGN, TAGS))
    plain = [t for t in before if not any(isinstance(part, rdflib.BNode) for part in t)]
    assert len(plain) == 2
    assert all(triple in after for triple in plain)
    text = merge(FOREIGN, TAGS).decode()
    assert "<!-- a remark -->" in text
    assert text.startswith('<?xpacket begin="\ufeff"')
    assert text.endswith('<?xpacket end="w"?>')


def test_taking_out_undoes_putting_in() -> None:
    back = strip(merge(FOREIGN, TAGS))
    assert back is not None
    assert isomorphic(graph(back), graph(FOREIGN))
    # Canonical XML 2.0 (W3C): equal but for the order of attributes and the like.
    canonical = [etree.canonicalize(xmp.decode(), with_comments=True) for xmp in (back, FOREIGN)]
    assert canonical[0] == canonical[1]
    assert strip(merge(None, TAGS)) is None
    assert strip(FOREIGN) == FOREIGN


@pytest.mark.parametrize("existing", [None, FOREIGN], ids=["new", "merged"])
def test_putting_in_again_changes_nothing_and_other_tags_leave_no_trace(
    existing: bytes | None,
) -> None:
    once = merge(existing, TAGS)
    assert merge(once, TAGS) == once
    assert merge(merge(once, OTHER), TAGS) == once


def test_a_keyword_or_description_of_somebody_else_stays_theirs() -> None:
    theirs = FOREIGN.replace(b"<rdf:li>layout</rdf:li>", b"<rdf:li>telltale</rdf:li>").replace(
        b"<!-- a remark -->",
        b'<dc:description><rdf:Alt><rdf:li xml:lang="x-default">Mine</rdf:li></rdf:Alt>'
        b"</dc:description>",
    )
    merged = merge(theirs, TAGS)
    assert merged.count(b"Mine") == 1
    assert b'<rdf:li xml:lang="x-default">edge stripe, 1938' not in merged
    back = strip(merged)
    assert back is not None
    assert isomorphic(graph(back), graph(theirs))


words = st.text(st.characters(exclude_categories=("Cc", "Cs", "Cn"), codec="utf-8"), min_size=1)


@settings(deadline=None, max_examples=30)
@given(st.lists(words, unique=True, max_size=4), words)
def test_any_text_goes_in_and_comes_out(keywords: list[str], description: str) -> None:
    tags = replace(TAGS, keywords=tuple(keywords), description=description)
    for existing in (None, FOREIGN):
        merged = merge(existing, tags)
        assert merge(merged, tags) == merged
        texts = {str(o) for o in graph(merged).objects()}
        assert {*keywords, description} <= texts
        left = strip(merged)
        if existing is None:
            assert left is None
        else:
            assert left is not None
            assert isomorphic(graph(left), graph(existing))


@pytest.mark.parametrize(
    "bad",
    [
        b"",
        b"no XML",
        b"<a/>",
        b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>",
        b"<!DOCTYPE a [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><a>&e;</a>",
    ],
)
def test_what_is_no_xmp_is_refused(bad: bytes) -> None:
    with pytest.raises(SidecarError, match="not XMP"):
        merge(bad, TAGS)


def test_utf_16_is_read() -> None:
    text = FOREIGN.decode().removeprefix('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>')
    merged = merge(text.encode("utf-16"), TAGS)
    assert isomorphic(graph(strip(merged) or b""), graph(FOREIGN))


# The stored row 0 and column 0 for each orientation: EXIF 2.32 (CIPA DC-008), tag 0x0112.
@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_region_lands_on_its_pixels(orientation: int, file_format: str) -> None:
    stored = Image.new("RGB", (96, 64), "white")
    mark = (16, 8, 40, 24)
    ImageDraw.Draw(stored).rectangle((16, 8, 39, 23), fill="black")
    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {"quality": 95} if file_format in ("JPEG", "WEBP") else {}
    photo = photo_from_bytes(encoded(stored, file_format, exif=exif, **options), "a")
    assert photo.orientation == orientation
    # Where the mark is in the upright photo is read off its pixels.
    rows, columns = (photo.pixels.max(axis=2) < 128).nonzero()
    upright = Box(columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
    share = stored_box(upright, photo.size, orientation)
    found = (share.left * 96, share.top * 64, share.right * 96, share.bottom * 64)
    assert found == pytest.approx(mark, abs=1.01 if options else 1e-9)


def test_a_region_is_clipped_to_the_picture() -> None:
    assert stored_box(Box(-5, -5, 50, 500), (100, 200), 1).as_tuple() == (0, 0, 0.5, 1)


def look(orientation: int = 1) -> Look:
    return Look(
        "ab" * 32, (320, 180), orientation, None, (), sighting(), answer().cues, 0, (0, 0), b""
    )


def test_tags_of_an_answer() -> None:
    tags = tags_of(answer(), look(), GUIDE)
    assert tags.keywords == (
        "telltale",
        "telltale/variation/W3",
        "telltale/years/1934–1936",
        "telltale/year/1934",
        "telltale/year/1935",
        "telltale/year/1936",
        "telltale/switch lever/absent",
        "telltale/side linkage/present",
        "telltale/tender axles/4",
        "telltale/tender lettering/present",
    )
    told = answer()
    years, sure = headline(told)
    # How sure stands beside the years that it is of, before the variation.
    seen = f"side linkage, tender axles 4, tender lettering, {years}, {sure}"
    assert told.estimate is not None and sure.endswith(f"({percent(told.estimate.confidence)})")
    assert tags.description == f"{seen}: {GUIDE.title}, W3"
    ids = [region.id.partition(":")[2] for region in tags.regions]
    parts = ["switch_lever", "side_linkage", "tender_axles", "tender_lettering"]
    assert ids == ["locomotive", "tender", *parts]
    assert tags.regions[0].left == pytest.approx(40 / 320, abs=1e-6)
    assert tags.regions[0].height == pytest.approx(94 / 180, abs=1e-6)


def test_sidecars_and_drawn_pictures_point_at_nothing_below_them() -> None:
    one = answer()
    assert one.estimate is not None
    apart = Conflict("views", ("side_linkage",), "side_linkage: photos differ")
    disagreed = replace(one, estimate=replace(one.estimate, conflicts=(apart,)))
    assert headline(disagreed)[1].endswith("; the photos disagree, see below")
    told = tags_of(disagreed, look(), GUIDE).description
    assert "; the photos disagree: " in told and "below" not in told
    lines = [text for text, *_ in strip_lines(disagreed, ())]
    assert [text for text in lines if text.endswith("; the photos disagree")]
    assert not [text for text in lines if "below" in text]


def test_an_engine_that_was_hardly_seen_is_tagged_with_no_variation_and_no_year() -> None:
    one = answer()
    assert one.estimate is not None
    nothing = replace(one, estimate=replace(one.estimate, steps=one.estimate.steps[:1]))
    tags = tags_of(nothing, look(), GUIDE)
    assert "telltale/not narrowed down" in tags.keywords
    assert not [k for k in tags.keywords if "/variation/" in k or "/year" in k]
    assert tags.title == GUIDE.title
    assert (tags.years, tags.first_year, tags.last_year) == ("", None, None)
    assert {name for name, _ in tags.more} == {"Software", "Guide", "Model"}
    assert "AOCircaDateCreated" not in merge(None, tags).decode()


def test_an_engine_that_is_rather_not_in_the_guide_is_not_called_by_its_title() -> None:
    """Years may be stated, since those of the variations together are likelier than none."""
    one = answer()
    assert one.estimate is not None
    ranked = (Candidate("other", "", 0.4), *one.estimate.variations[:2])
    rather = replace(one, estimate=replace(one.estimate, variations=ranked))
    tags = tags_of(rather, look(), GUIDE)
    assert tags.title == tags.regions[0].name == f"unknown engine (not in guide {GUIDE.name})"
    assert GUIDE.title not in tags.description and tags.years == "1934/1936"


def test_both_habits_of_naming() -> None:
    there = {"a/x.XMP", "a/y.jpg.xmp", "a/y.xmp", "a/z.xmp"}
    photos = ["a/x.jpg", "a/y.jpg", "a/z.jpg", "a/z.png", "a/w.jpg"]
    assert sidecar_names(photos, there) == {
        "a/x.jpg": ("a/x.XMP",),
        "a/y.jpg": ("a/y.jpg.xmp", "a/y.xmp"),
        "a/z.jpg": ("a/z.jpg.xmp",),
        "a/z.png": ("a/z.png.xmp",),
        "a/w.jpg": ("a/w.jpg.xmp",),
    }
