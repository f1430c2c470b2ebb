"""On which line of a guide's text each key stands."""

import tomllib

import pytest

from vision.guide import (
    builtin_names,
    builtin_text,
)
from vision.guide.lines import key_lines


def test_key_lines_in_awkward_toml():
    text = (
        "a = 1 # [not] = a header\r\n"
        's = """\r\n[[variation]]\r\nid = "x" """\r\n'
        "t = '''\n# no \" comment '''\n"
        "list = [ # one\n  1, # ]\n  2,\n]\n"
        '"quoted = key".\'dotted\' = { b = "}" }\n'
        "[ table . 'x y' ] # c\n"
        "k = '#'\n"
        "[[rows]]\nid = 1\n[rows.inner]\nz = 1\n[[rows]]\n[[rows.deep]]\nq = 2"
    )
    tomllib.loads(text)
    assert key_lines(text) == {
        ("a",): 1,
        ("s",): 2,
        ("t",): 5,
        ("list",): 7,
        ("quoted = key",): 11,
        ("quoted = key", "dotted"): 11,
        ("table", "x y"): 12,
        ("table", "x y", "k"): 13,
        ("rows",): 14,
        ("rows", 0): 14,
        ("rows", 0, "id"): 15,
        ("rows", 0, "inner"): 16,
        ("rows", 0, "inner", "z"): 17,
        ("rows", 1): 18,
        ("rows", 1, "deep"): 19,
        ("rows", 1, "deep", 0): 19,
        ("rows", 1, "deep", 0, "q"): 20,
    }


@pytest.mark.parametrize("name", builtin_names())
def test_key_lines_point_at_every_key_of_a_guide(name):
    text = builtin_text(name)
    lines = text.splitlines()
    found = key_lines(text)
    for path, line in found.items():
        key = next(part for part in reversed(path) if isinstance(part, str))
        assert key in lines[line - 1]
    rows = [path for path in found if path[0] == "variation" and len(path) == 3]
    assert len(rows) == sum(len(v) for v in tomllib.loads(text)["variation"])
