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
    text = name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
