"""Hashes of the shipped models, which the eye checks before it trusts them."""

from __future__ import annotations

import hashlib
from pathlib import Path


def write_sums(models: Path) -> None:
    """Write SHA256SUMS over every shipped model and coefficient file."""
    files = sorted([*models.glob("*.onnx"), *models.glob("*.json")])
    lines = [f"{hashlib.sha256(f.read_bytes()).hexdigest()}  {f.name}\n" for f in files]
    (models / "SHA256SUMS").write_text("".join(lines), encoding="utf-8")
