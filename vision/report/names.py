"""Names of files and guides as one line: they may hold line breaks and terminal codes."""

from __future__ import annotations


def one_line(name: str) -> str:
    r"""Write a name as one line of text, what cannot be printed as an escape.

    Parameters
    ----------
    name : str
        Such as of a file; bytes in it that are no UTF-8 as Python's `os.fsdecode` gives them.

    Examples
    --------
    >>> one_line("two\nlines\x1b[31m.jpg"), one_line("caf\udce9.jpg")
    ('two\\nlines\\x1b[31m.jpg', 'caf\\xe9.jpg')
    """
    return "".join(c if c.isprintable() else _escape(c) for c in name)


def _escape(letter: str) -> str:
    byte = ord(letter) - 0xDC00
    # A byte that is no UTF-8 (PEP 383).
    return f"\\x{byte:02x}" if 0x80 <= byte <= 0xFF else letter.encode("unicode_escape").decode()
