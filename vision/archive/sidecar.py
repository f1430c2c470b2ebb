"""XMP sidecars (ISO 16684-1): ours put in, everybody else's kept, ours taken out again.

What is ours is told from what is not by marks inside the sidecar alone, so that it can
be taken out even where nothing else remembers it: our own namespace lists the keywords
and the description that we added and the properties that were not there before; regions
carry our ids; the entry for the engine carries a field of our namespace.
"""

from __future__ import annotations

from collections.abc import Iterable

from lxml import etree

from vision.archive.tags import REGION_ID, RegionTag, Tags
from vision.archive.xmp import (
    ABOUT,
    BAG,
    EMPTY,
    LI,
    NODE,
    PARSE,
    RDF,
    add_alternative,
    container_of,
    nodes_of,
    other_prefixes,
    parse,
    property_of,
    rdf_of,
    remove,
    written,
)

DC = "http://purl.org/dc/elements/1.1/"
XMP = "http://ns.adobe.com/xap/1.0/"
IPTC = "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"
# A name, not an address; "invalid" is reserved so that it never becomes one (RFC 2606).
OURS = "https://telltale.invalid/ns/archive/1/"
PREFIXES = {"rdf": RDF, "dc": DC, "xmp": XMP, "Iptc4xmpExt": IPTC, "telltale": OURS}
# IPTC NewsCodes for the role of a region.
ROLES = "http://cv.iptc.org/newscodes/imageregionrole/"
ROLE_NAMES = {"mainSubjectArea": "main subject area", "subjectArea": "subject area"}

_SUBJECT, _DESCRIPTION = f"{{{DC}}}subject", f"{{{DC}}}description"
_REGION, _OBJECT = f"{{{IPTC}}}ImageRegion", f"{{{IPTC}}}ArtworkOrObject"
# Properties that we share with others, by the name under which we note that we made them.
_SHARED = {
    "dc:subject": _SUBJECT,
    "dc:description": _DESCRIPTION,
    "Iptc4xmpExt:ImageRegion": _REGION,
    "Iptc4xmpExt:ArtworkOrObject": _OBJECT,
}
# The same for the sidecar itself.
_WHOLE = "sidecar"
_BY = f"{{{OURS}}}By"
# In which XMP may be written (ISO 16684-1, 7.3.2).
_CODINGS = ("utf-8", "utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be")


def merge(existing: bytes | None, tags: Tags) -> bytes:
    """Put our tags into a sidecar.

    Parameters
    ----------
    existing : bytes or None
        The sidecar as it is, with or without tags of ours; None where there is none.
    tags : Tags

    Returns
    -------
    bytes
        UTF-8. The same input gives the same bytes, and so does the output put in again.

    Raises
    ------
    SidecarError
        `existing` is no XMP that can be merged; nothing is lost by leaving it.
    """
    kept = None if existing is None else strip(existing)
    if kept is None:
        root = etree.fromstring(EMPTY)
        _add(root, tags, new=True)
        etree.indent(root, space=" ")
        fresh: bytes = etree.tostring(root, encoding="UTF-8", xml_declaration=True)
        return fresh + b"\n"
    root = parse(kept)
    _add(root, tags)
    return written(root, kept)


def strip(existing: bytes) -> bytes | None:
    """Take our tags out of a sidecar.

    Returns
    -------
    bytes or None
        The bytes as they are where nothing of ours is in them; None where nothing but
        ours was.

    Raises
    ------
    SidecarError
        Not XMP.
    """
    root = parse(existing)
    if not is_ours(existing):
        return existing
    made = set(_texts(root, "Made"))
    _drop_keywords(root, set(_texts(root, "Keyword")), made)
    _drop_description(root, _texts(root, "Description"), made)
    for name in ("Iptc4xmpExt:ImageRegion", "Iptc4xmpExt:ArtworkOrObject"):
        _drop_items(root, name, made)
    for node in list(nodes_of(root)):
        _drop_own(node)
    left = any(len(node) or set(node.attrib) - {ABOUT} for node in nodes_of(root))
    if _WHOLE in made and not left:
        return None
    # What we took out may have been all that used our prefix.
    etree.cleanup_namespaces(root, keep_ns_prefixes=other_prefixes(root, OURS))
    return written(root, existing)


def is_ours(existing: bytes) -> bool:
    """Whether there is anything of ours in a sidecar, whichever coding it was saved in."""
    return any(OURS.encode(coding) in existing for coding in _CODINGS)


def _add(root: etree._Element, tags: Tags, *, new: bool = False) -> None:
    about = next((node.get(ABOUT, "") for node in nodes_of(root)), "")
    own = etree.SubElement(rdf_of(root), NODE, {ABOUT: about}, nsmap=PREFIXES)
    made = [name for name, tag in _SHARED.items() if property_of(root, tag) is None]
    made += [_WHOLE] if new else []
    added = _add_keywords(root, own, tags.keywords)
    if "dc:description" in made:
        add_alternative(own, _DESCRIPTION, tags.description)
    if tags.regions:
        regions = _list_of(root, own, _REGION)
        for region in tags.regions:
            _region(regions, region)
    if tags.title:
        _object(_list_of(root, own, _OBJECT), tags)
    _texts_into(own, "Keyword", added)
    etree.SubElement(own, f"{{{OURS}}}Description").text = tags.description
    for name, value in (
        ("FirstYear", tags.first_year),
        ("LastYear", tags.last_year),
        *tags.more,
    ):
        if value not in ("", None):
            etree.SubElement(own, f"{{{OURS}}}{name}").text = str(value)
    there = [
        name for name in made if name == _WHOLE or property_of(root, _SHARED[name]) is not None
    ]
    _texts_into(own, "Made", there)


def _list_of(root: etree._Element, own: etree._Element, tag: str) -> etree._Element:
    """The list of a property: the one that is there, since XMP allows no second."""
    found = property_of(root, tag)
    if found is not None:
        return container_of(found)
    return etree.SubElement(etree.SubElement(own, tag), BAG)


def _add_keywords(root: etree._Element, own: etree._Element, keywords: Iterable[str]) -> list[str]:
    bag = _list_of(root, own, _SUBJECT)
    there = {item.text for item in bag.iterchildren(LI)}
    added = [keyword for keyword in keywords if keyword not in there]
    for keyword in added:
        etree.SubElement(bag, LI).text = keyword
    return added


def _region(regions: etree._Element, region: RegionTag) -> None:
    item = etree.SubElement(regions, LI, {PARSE: "Resource"})
    boundary = etree.SubElement(item, f"{{{IPTC}}}RegionBoundary", {PARSE: "Resource"})
    for name, value in (
        ("rbShape", "rectangle"),
        ("rbUnit", "relative"),
        ("rbX", f"{region.left:.6f}"),
        ("rbY", f"{region.top:.6f}"),
        ("rbW", f"{region.width:.6f}"),
        ("rbH", f"{region.height:.6f}"),
    ):
        etree.SubElement(boundary, f"{{{IPTC}}}{name}").text = value
    etree.SubElement(item, f"{{{IPTC}}}rId").text = region.id
    add_alternative(item, f"{{{IPTC}}}Name", region.name)
    roles = etree.SubElement(etree.SubElement(item, f"{{{IPTC}}}rRole"), BAG)
    role = etree.SubElement(roles, LI, {PARSE: "Resource"})
    add_alternative(role, f"{{{IPTC}}}Name", ROLE_NAMES[region.role])
    names = etree.SubElement(etree.SubElement(role, f"{{{XMP}}}Identifier"), BAG)
    etree.SubElement(names, LI).text = f"{ROLES}{region.role}"


def _object(objects: etree._Element, tags: Tags) -> None:
    """The engine as an object in the picture, which is where IPTC keeps an object's years."""
    item = etree.SubElement(objects, LI, {PARSE: "Resource"})
    add_alternative(item, f"{{{IPTC}}}AOTitle", tags.title)
    if tags.years:
        etree.SubElement(item, f"{{{IPTC}}}AOCircaDateCreated").text = tags.years
    etree.SubElement(item, _BY).text = "telltale"


def _texts_into(own: etree._Element, name: str, texts: Iterable[str]) -> None:
    bag = etree.SubElement(etree.SubElement(own, f"{{{OURS}}}{name}"), BAG)
    for text in texts:
        etree.SubElement(bag, LI).text = text


def _texts(root: etree._Element, name: str) -> list[str]:
    """Texts of a property of ours, whichever way another program has written it."""
    tag = f"{{{OURS}}}{name}"
    found = [node.attrib[tag] for node in nodes_of(root) if tag in node.attrib]
    element = property_of(root, tag)
    if element is not None:
        items = list(element.iter(LI))
        found += [item.text or "" for item in items] if items else [element.text or ""]
    return [str(text) for text in found]


def _drop_keywords(root: etree._Element, keywords: set[str], made: set[str]) -> None:
    element = property_of(root, _SUBJECT)
    if element is None:
        return
    bag = container_of(element)
    for item in [i for i in bag.iterchildren(LI) if i.text in keywords]:
        remove(item)
    _drop_if_empty(element, bag, "dc:subject" in made)


def _drop_description(root: etree._Element, texts: list[str], made: set[str]) -> None:
    element = property_of(root, _DESCRIPTION)
    if element is None or "dc:description" not in made:
        return
    choice = container_of(element)
    # A description that somebody has changed since is theirs.
    for item in [i for i in choice.iterchildren(LI) if i.text in texts]:
        remove(item)
    _drop_if_empty(element, choice, True)


def _drop_items(root: etree._Element, name: str, made: set[str]) -> None:
    element = property_of(root, _SHARED[name])
    if element is None:
        return
    items = container_of(element)
    for item in [i for i in items.iterchildren(LI) if _is_own_item(i)]:
        remove(item)
    _drop_if_empty(element, items, name in made)


def _is_own_item(item: etree._Element) -> bool:
    id_tag = f"{{{IPTC}}}rId"
    for element in item.iter(etree.Element):
        if element.tag == _BY or _BY in element.attrib:
            return True
        id = element.text if element.tag == id_tag else element.get(id_tag)
        if id is not None and id.startswith(REGION_ID):
            return True
    return False


def _drop_if_empty(element: etree._Element, items: etree._Element, made: bool) -> None:
    if made and not len(items):
        remove(element)


def _drop_own(node: etree._Element) -> None:
    ours = [child for child in node.iterchildren() if str(child.tag).startswith(f"{{{OURS}}}")]
    attributes = [name for name in node.attrib if str(name).startswith(f"{{{OURS}}}")]
    for child in ours:
        remove(child)
    for name in attributes:
        del node.attrib[name]
    if (ours or attributes) and not len(node) and not set(node.attrib) - {ABOUT}:
        remove(node)
