"""XMP as XML (ISO 16684-1): read, walked, and written, whoever wrote it; nothing of ours."""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree

from vision.records import SidecarError

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XML = "http://www.w3.org/XML/1998/namespace"
X = "adobe:ns:meta/"

NODE, LI = f"{{{RDF}}}Description", f"{{{RDF}}}li"
BAG, ALT = f"{{{RDF}}}Bag", f"{{{RDF}}}Alt"
ABOUT, PARSE = f"{{{RDF}}}about", f"{{{RDF}}}parseType"
_CONTAINERS = (BAG, f"{{{RDF}}}Seq", ALT)
_LANG = f"{{{XML}}}lang"

EMPTY = f'<x:xmpmeta xmlns:x="{X}"><rdf:RDF xmlns:rdf="{RDF}"/></x:xmpmeta>'.encode()


def parse(data: bytes) -> etree._Element:
    """Read a sidecar.

    Raises
    ------
    SidecarError
        Not XMP.
    """
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


def written(root: etree._Element, like: bytes) -> bytes:
    """Write a sidecar, with a declaration and a last line break if `like` has them."""
    declared = like.lstrip(b"\xef\xbb\xbf").startswith(b"<?xml ") or b"\0" in like[:4]
    text: bytes = etree.tostring(root.getroottree(), encoding="UTF-8", xml_declaration=declared)
    return text + (b"\n" if like.endswith(b"\n") else b"")


def rdf_of(root: etree._Element) -> etree._Element:
    """Return the element that holds everything."""
    found = root if root.tag == f"{{{RDF}}}RDF" else root.find(f".//{{{RDF}}}RDF")
    assert found is not None  # parse made sure
    return found


def nodes_of(root: etree._Element) -> Iterator[etree._Element]:
    """Descriptions, among which the properties are spread."""
    yield from rdf_of(root).iterchildren(NODE)


def property_of(root: etree._Element, tag: str) -> etree._Element | None:
    """Return a property, in whichever description it is; None where it is in none."""
    return next((found for node in nodes_of(root) for found in node.iterchildren(tag)), None)


def container_of(element: etree._Element) -> etree._Element:
    """Return the list in a property.

    Raises
    ------
    SidecarError
        It holds no list.
    """
    for child in element.iterchildren(*_CONTAINERS):
        return child
    raise SidecarError(f"not XMP ({etree.QName(element).localname} is no list)")


def add_alternative(parent: etree._Element, tag: str, text: str) -> None:
    """Add a text in the default language, the one that every reader finds."""
    choice = etree.SubElement(etree.SubElement(parent, tag), ALT)
    etree.SubElement(choice, LI, {_LANG: "x-default"}).text = text


def remove(element: etree._Element) -> None:
    """Remove an element and nothing else: the white space after it stays where it was."""
    parent, before, tail = element.getparent(), element.getprevious(), element.tail
    assert parent is not None  # only children are removed
    parent.remove(element)
    if tail and tail.strip():
        if before is not None:
            before.tail = (before.tail or "") + tail
        else:
            parent.text = (parent.text or "") + tail


def other_prefixes(root: etree._Element, own: str) -> list[str]:
    """Prefixes for all namespaces but `own`; whether they are used is not ours to judge."""
    found = {
        prefix
        for element in root.iter(etree.Element)
        for prefix, uri in element.nsmap.items()
        if prefix is not None and uri != own
    }
    return sorted(found)
