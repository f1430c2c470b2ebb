"""Mended: settings and files that ended in a fault, did nothing, or were told of wrongly."""

from __future__ import annotations

import pytest

from conftest import Telltale

# --- the environment ---------------------------------------------------------------


@pytest.mark.parametrize("threads", ["abc", "0", "-3", "1.5", "9" * 30])
def test_a_wrong_number_of_threads_is_wrong_use(
    telltale: Telltale, monkeypatch: pytest.MonkeyPatch, threads: str
) -> None:
    """It ended in a traceback, or was taken for another number."""
    monkeypatch.setenv("TELLTALE_THREADS", threads)
    code, out, err = telltale("guide", "list")
    assert (code, out) == (2, "")
    assert err == f'telltale: TELLTALE_THREADS: 1 to 999 expected, got "{threads}"\n'


@pytest.mark.parametrize("threads", ["1", "16", ""])
def test_a_number_of_threads_is_taken(
    telltale: Telltale, monkeypatch: pytest.MonkeyPatch, threads: str
) -> None:
    monkeypatch.setenv("TELLTALE_THREADS", threads)
    assert telltale("guide", "list")[0] == 0
