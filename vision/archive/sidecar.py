"""XMP sidecars (ISO 16684-1): ours put in, everybody else's kept, ours taken out again.

What is ours is told from what is not by marks inside the sidecar alone, so that it can
be taken out even where nothing else remembers it: our own namespace lists the keywords
and the description that we added and the properties that were not there before; regions
carry our ids; the entry for the engine carries a field of our namespace.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lxml import etree

from vision.archive.tags import REGION_ID, RegionTag, Tags
from vision.records import SidecarError

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XML = "http://www.w3.org/XML/1998/namespace"
X = "adobe:ns:meta/"
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
_NODE, _LI = f"{{{RDF}}}Description", f"{{{RDF}}}li"
_CONTAINERS = (f"{{{RDF}}}Bag", f"{{{RDF}}}Seq", f"{{{RDF}}}Alt")
_ABOUT, _LANG, _PARSE = f"{{{RDF}}}about", f"{{{XML}}}lang", f"{{{RDF}}}parseType"
_BY = f"{{{OURS}}}By"


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
        root = etree.fromstring(_EMPTY)
        _add(root, tags, new=True)
        etree.indent(root, space=" ")
        fresh: bytes = etree.tostring(root, encoding="UTF-8", xml_declaration=True)
        return fresh + b"\n"
    root = _parse(kept)
    _add(root, tags)
    return _written(root, kept)


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
    root = _parse(existing)
    if OURS.encode() not in existing:
        return existing
    made = set(_texts(root, "Made"))
    _drop_keywords(root, set(_texts(root, "Keyword")), made)
    _drop_description(root, _texts(root, "Description"), made)
    for name in ("Iptc4xmpExt:ImageRegion", "Iptc4xmpExt:ArtworkOrObject"):
        _drop_items(root, name, made)
    for node in list(_nodes(root)):
        _drop_own(node)
    left = any(len(node) or set(node.attrib) - {_ABOUT} for node in _nodes(root))
    if _WHOLE in made and not left:
        return None
    # What we took out may have been all that used our prefix.
    etree.cleanup_namespaces(root, keep_ns_prefixes=_foreign_prefixes(root))
    return _written(root, existing)


def is_ours(existing: bytes) -> bool:
    """Whether there is anything of ours in a sidecar."""
    return OURS.encode() in existing


_EMPTY = f'<x:xmpmeta xmlns:x="{X}"><rdf:RDF xmlns:rdf="{RDF}"/></x:xmpmeta>'.encode()


def _parse(data: bytes) -> etree._Element:
    # No entity is expanded and nothing outside is read: a sidecar comes from anywhere.
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise SidecarError(f"not XMP ({error.msg})") from None
    if root.getroottree().docinfo.doctype:
        raise SidecarError("not XMP (it has a document type)")
    if root.tag != f"{{{RDF}}}RDF" and root.find(f".//{{{RDF}}}RDF") is None:
        raise SidecarError("not XMP (no rdf:RDF in it)")
    return root


def _written(root: etree._Element, like: bytes) -> bytes:
    declared = like.lstrip(b"\xef\xbb\xbf").startswith(b"<?xml ") or b"\0" in like[:4]
    text: bytes = etree.tostring(root.getroottree(), encoding="UTF-8", xml_declaration=declared)
    return text + (b"\n" if like.endswith(b"\n") else b"")


def _rdf(root: etree._Element) -> etree._Element:
    found = root if root.tag == f"{{{RDF}}}RDF" else root.find(f".//{{{RDF}}}RDF")
    assert found is not None  # _parse made sure
    return found


def _nodes(root: etree._Element) -> Iterator[etree._Element]:
    yield from _rdf(root).iterchildren(_NODE)


def _property(root: etree._Element, tag: str) -> etree._Element | None:
    return next((found for node in _nodes(root) for found in node.iterchildren(tag)), None)


def _container(element: etree._Element) -> etree._Element:
    for child in element.iterchildren(*_CONTAINERS):
        return child
    raise SidecarError(f"not XMP ({etree.QName(element).localname} is no list)")


def _add(root: etree._Element, tags: Tags, *, new: bool = False) -> None:
    about = next((node.get(_ABOUT, "") for node in _nodes(root)), "")
    own = etree.SubElement(_rdf(root), _NODE, {_ABOUT: about}, nsmap=PREFIXES)
    made = [name for name, tag in _SHARED.items() if _property(root, tag) is None]
    made += [_WHOLE] if new else []
    added = _add_keywords(root, own, tags.keywords)
    if "dc:description" in made:
        _alternative(own, _DESCRIPTION, tags.description)
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
    there = [name for name in made if name == _WHOLE or _property(root, _SHARED[name]) is not None]
    _texts_into(own, "Made", there)


def _list_of(root: etree._Element, own: etree._Element, tag: str) -> etree._Element:
    """The list of a property: the one that is there, since XMP allows no second."""
    found = _property(root, tag)
    if found is not None:
        return _container(found)
    return etree.SubElement(etree.SubElement(own, tag), _CONTAINERS[0])


def _add_keywords(root: etree._Element, own: etree._Element, keywords: Iterable[str]) -> list[str]:
    bag = _list_of(root, own, _SUBJECT)
    there = {item.text for item in bag.iterchildren(_LI)}
    added = [keyword for keyword in keywords if keyword not in there]
    for keyword in added:
        etree.SubElement(bag, _LI).text = keyword
    return added


def _alternative(parent: etree._Element, tag: str, text: str) -> None:
    choice = etree.SubElement(etree.SubElement(parent, tag), _CONTAINERS[2])
    etree.SubElement(choice, _LI, {_LANG: "x-default"}).text = text


def _region(regions: etree._Element, region: RegionTag) -> None:
    item = etree.SubElement(regions, _LI, {_PARSE: "Resource"})
    boundary = etree.SubElement(item, f"{{{IPTC}}}RegionBoundary", {_PARSE: "Resource"})
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
    _alternative(item, f"{{{IPTC}}}Name", region.name)
    roles = etree.SubElement(etree.SubElement(item, f"{{{IPTC}}}rRole"), _CONTAINERS[0])
    role = etree.SubElement(roles, _LI, {_PARSE: "Resource"})
    _alternative(role, f"{{{IPTC}}}Name", ROLE_NAMES[region.role])
    names = etree.SubElement(etree.SubElement(role, f"{{{XMP}}}Identifier"), _CONTAINERS[0])
    etree.SubElement(names, _LI).text = f"{ROLES}{region.role}"


def _object(objects: etree._Element, tags: Tags) -> None:
    """The engine as an object in the picture, which is where IPTC keeps an object's years."""
    item = etree.SubElement(objects, _LI, {_PARSE: "Resource"})
    _alternative(item, f"{{{IPTC}}}AOTitle", tags.title)
    if tags.years:
        etree.SubElement(item, f"{{{IPTC}}}AOCircaDateCreated").text = tags.years
    etree.SubElement(item, _BY).text = "telltale"


def _texts_into(own: etree._Element, name: str, texts: Iterable[str]) -> None:
    bag = etree.SubElement(etree.SubElement(own, f"{{{OURS}}}{name}"), _CONTAINERS[0])
    for text in texts:
        etree.SubElement(bag, _LI).text = text


def _texts(root: etree._Element, name: str) -> list[str]:
    """Texts of a property of ours, whichever way another program has written it."""
    tag = f"{{{OURS}}}{name}"
    found = [node.attrib[tag] for node in _nodes(root) if tag in node.attrib]
    element = _property(root, tag)
    if element is not None:
        items = list(element.iter(_LI))
        found += [item.text or "" for item in items] if items else [element.text or ""]
    return [str(text) for text in found]


def _drop_keywords(root: etree._Element, keywords: set[str], made: set[str]) -> None:
    element = _property(root, _SUBJECT)
    if element is None:
        return
    bag = _container(element)
    for item in [i for i in bag.iterchildren(_LI) if i.text in keywords]:
        _remove(item)
    _drop_if_empty(element, bag, "dc:subject" in made)


def _drop_description(root: etree._Element, texts: list[str], made: set[str]) -> None:
    element = _property(root, _DESCRIPTION)
    if element is None or "dc:description" not in made:
        return
    choice = _container(element)
    # A description that somebody has changed since is theirs.
    for item in [i for i in choice.iterchildren(_LI) if i.text in texts]:
        _remove(item)
    _drop_if_empty(element, choice, True)


def _drop_items(root: etree._Element, name: str, made: set[str]) -> None:
    element = _property(root, _SHARED[name])
    if element is None:
        return
    items = _container(element)
    for item in [i for i in items.iterchildren(_LI) if _is_own_item(i)]:
        _remove(item)
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
        _remove(element)


def _drop_own(node: etree._Element) -> None:
    ours = [child for child in node.iterchildren() if str(child.tag).startswith(f"{{{OURS}}}")]
    attributes = [name for name in node.attrib if str(name).startswith(f"{{{OURS}}}")]
    for child in ours:
        _remove(child)
    for name in attributes:
        del node.attrib[name]
    if (ours or attributes) and not len(node) and not set(node.attrib) - {_ABOUT}:
        _remove(node)


def _remove(element: etree._Element) -> None:
    """Remove an element and nothing else: the white space after it stays where it was."""
    parent, before, tail = element.getparent(), element.getprevious(), element.tail
    assert parent is not None  # only children are removed
    parent.remove(element)
    if tail and tail.strip():
        if before is not None:
            before.tail = (before.tail or "") + tail
        else:
            parent.text = (parent.text or "") + tail


def _foreign_prefixes(root: etree._Element) -> list[str]:
    """Prefixes declared by others; whether they are used is not ours to judge."""
    found = {
        prefix
        for element in root.iter(etree.Element)
        for prefix, uri in element.nsmap.items()
        if prefix is not None and uri != OURS
    }
    return sorted(found)
