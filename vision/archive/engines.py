"""Engines of an archive: which have to be dated again, and which sidecars to write."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass
from pathlib import Path

from vision import __version__
from vision.archive.files import write_sidecar
from vision.archive.groups import GROUP_FILE, By, fitting_none, group, not_followed, read_group_file
from vision.archive.index import EngineRow, Index, SidecarRow
from vision.archive.sidecar import is_ours, merge, strip
from vision.archive.tags import Tags, tags_of
from vision.archive.walk import SIDECAR_SUFFIX, Tree
from vision.guide import Guide
from vision.pipeline.kept import date_looks
from vision.pipeline.look import Look, model_of
from vision.records import Answer, SidecarError, TelltaleError
from vision.report import answer_json
from vision.report.narrowing import shows_several

# Increased whenever the same answer would be written into a sidecar, or kept, in another way.
TAGS_FORMAT = "9"


@dataclass(frozen=True, slots=True)
class Job:
    """One engine to date, and those of its sidecars that have to be looked after."""

    engine: str
    photos: tuple[str, ...]
    hashes: tuple[str, ...]
    basis: str
    is_new: bool
    sidecars: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Prepared:
    """The sidecars of a dated engine, not written yet.

    Attributes
    ----------
    engine : str
    drafts : tuple of _Draft
    errors : list of TelltaleError
        What went wrong with one of them; more may come while they are written.
    """

    engine: str
    drafts: tuple[_Draft, ...]
    errors: list[TelltaleError]

    @property
    def changed(self) -> list[str]:
        """The sidecars that are written, or in a dry run would be."""
        return [draft.path for draft in self.drafts if draft.old != draft.new]


class Engines:
    """Plans and works off the engines of one archive.

    Attributes
    ----------
    sidecars : int
        Sidecars that belong to them.
    idle : tuple of str
        What the group file says that fits no photo, once they are planned.
    unheeded : tuple of (pattern, engine)
        What it says against its earlier rows.
    """

    def __init__(self, root: Path, index: Index, guide: Guide, eye: str, model: str) -> None:
        self._root, self._index, self._guide = root, index, guide
        self._eye, self._model = eye, model
        self._rows: dict[str, SidecarRow] = {}
        self.sidecars = 0
        self.idle: tuple[str, ...] = ()
        self.unheeded: tuple[tuple[str, str], ...] = ()

    def plan(self, tree: Tree, by: By) -> list[Job]:
        """Group the photos, and find the engines for which something is to be done."""
        alike = self._index.alike(self._eye)
        photos = self._index.photos()
        hashes = {path: row.sha256 for path, row in photos.items() if not row.code}
        readable = {path: alike[sha] for path, sha in hashes.items() if sha in alike}
        named = read_group_file(self._root / GROUP_FILE)
        self.idle, self.unheeded = fitting_none(photos, named), not_followed(photos, named)
        engines = group(readable, named, by)
        known = self._index.engine_bases()
        self._index.forget_engines(name for name in known if name not in engines)
        self._rows = self._index.sidecars()
        targets = sidecar_names(list(readable), tree.sidecars)
        jobs = []
        for name, mine in engines.items():
            own = tuple(hashes[photo] for photo in mine)
            basis = basis_of(mine, own, self._guide, self._eye)
            pairs = [(photo, target) for photo in mine for target in targets[photo]]
            self.sidecars += len(pairs)
            is_new = known.get(name) != basis
            due = [pair for pair in pairs if is_new or not self._is_current(pair[1], basis)]
            if due:
                jobs.append(Job(name, mine, own, basis, is_new, tuple(due)))
        return jobs

    def prepare(self, job: Job, *, dry: bool) -> Prepared:
        """Date one engine and say what becomes of its sidecars."""
        errors: list[TelltaleError] = []
        looks = [self._index.look(sha, self._eye) for sha in job.hashes]
        answer = date_looks(job.photos, looks, self._guide, self._model)
        by_photo = dict(zip(job.photos, looks, strict=True))
        alone = self._alone(by_photo) if shows_several(answer.estimate) else {}
        if job.is_new:
            plain = answer_json(answer)
            for name, photo in zip(job.photos, plain["photos"], strict=True):
                photo["path"] = photo["path"].encode("utf-8", "backslashreplace").decode()
                if name in alone:
                    photo["cues"] = answer_json(alone[name])["cues"]
            self._index.keep_engine(EngineRow(job.engine, job.photos, job.basis, plain))
        tags = {
            photo: tags_of(answer, by_photo[photo], self._guide, alone.get(photo))
            for photo, _ in job.sidecars
        }
        drafts = tuple(self._drafts(job, tags, errors))
        if not dry:
            # Said before it is done: a kill between the two loses nothing that stood there.
            self._index.keep_sidecars({draft.path: draft.row for draft in drafts})
        return Prepared(job.engine, drafts, errors)

    def _alone(self, looks: dict[str, Look]) -> dict[str, Answer]:
        """What each photo says by itself: together they say nothing of any one engine."""
        return {
            photo: date_looks([photo], [look], self._guide, self._model)
            for photo, look in looks.items()
        }

    def write(self, prepared: Prepared) -> dict[str, os.stat_result]:
        """Write what changes; touches files alone, so that another thread may do it.

        Returns
        -------
        dict of str to os.stat_result
            Of each sidecar that stands as it should.
        """
        stats = {}
        for draft in prepared.drafts:
            if draft.old == draft.new:
                stats[draft.path] = (self._root / draft.path).stat()
                continue
            try:
                if _bytes_of(self._root / draft.path) != draft.old:
                    raise SidecarError("changed meanwhile; left as it is")
                stats[draft.path] = write_sidecar(str(self._root / draft.path), draft.new)
            except SidecarError as error:
                prepared.errors.append(SidecarError(f"{draft.path}: {_reason(error)}"))
        return stats

    def note(self, prepared: Prepared, stats: dict[str, os.stat_result]) -> list[str]:
        """Keep what was written, and return it."""
        self._index.set_written(stats)
        return [path for path in prepared.changed if path in stats]

    def _is_current(self, path: str, basis: str) -> bool:
        row = self._rows.get(path)
        if row is None or row.basis != basis:
            return False
        try:
            status = os.stat(os.path.join(self._root, path))  # noqa: PTH116, PTH118 (a third of the time)
        except OSError:
            return False
        return (status.st_size, status.st_mtime_ns) == (row.size, row.modified)

    def _drafts(
        self, job: Job, tags: dict[str, Tags], errors: list[TelltaleError]
    ) -> Iterator[_Draft]:
        for photo, path in job.sidecars:
            try:
                yield self._draft(job, photo, path, tags[photo])
            except SidecarError as error:
                errors.append(SidecarError(f"{path}: {error}; left as it is"))

    def _draft(self, job: Job, photo: str, path: str, tags: Tags) -> _Draft:
        file = self._root / path
        try:
            old = _bytes_of(file)
            modified = None if old is None else file.stat().st_mtime_ns
        except OSError as error:
            raise SidecarError(f"cannot be read ({error.strerror})") from None
        new = merge(old, tags)
        row = self._rows.get(path)
        hashes: tuple[str, ...] = (_sha(new),)
        if row is not None and old is not None and _sha(old) in row.hashes:
            before, modified = self._index.before(path), row.before_modified
            hashes = (_sha(old), *hashes) if old != new else hashes
        else:
            before = None if old is None else strip(old)
            modified = None if old is None or is_ours(old) else modified
        row = SidecarRow(photo, job.basis, hashes, -1, -1, before, modified)
        return _Draft(path, old, new, row)


def answers(
    index: Index, guide: Guide, rows: Iterable[EngineRow]
) -> Iterator[tuple[EngineRow, list[tuple[str, Look]]]]:
    """Engines with their answers by `guide`, and eyes and looks that these rest on.

    Answers by another guide, or another state of it, are not used: the engine is dated
    again from what was seen, which takes no photo. Nothing is written.

    Parameters
    ----------
    index : Index
    guide : Guide
    rows : iterable of EngineRow
        As the index has them; one of which not every photo has been looked at is left out.
    """
    for row in rows:
        kept = list(index.looks(row.photos, guide.lever_at))
        if len(kept) < len(row.photos):
            continue
        eyes, looks = [eye for eye, _ in kept], [look for _, look in kept]
        hashes = [look.sha256 for look in looks]
        basis = basis_of(row.photos, hashes, guide, eyes[0])
        if basis != row.basis:
            answer = answer_json(date_looks(row.photos, looks, guide, model_of(eyes[0])))
            row = EngineRow(row.name, row.photos, basis, answer)
        yield row, kept


def basis_of(photos: Sequence[str], hashes: Sequence[str], guide: Guide, eye: str) -> str:
    """Hash of all that an engine's answer and tags rest on."""
    parts = [__version__, TAGS_FORMAT, eye, guide.sha256, guide.name]
    for photo, sha in zip(photos, hashes, strict=True):
        parts += [photo, sha]
    text = "\0".join(parts).encode("utf-8", "surrogateescape")
    return hashlib.sha256(text).hexdigest()


@dataclass(frozen=True, slots=True)
class _Draft:
    path: str
    old: bytes | None
    new: bytes
    row: SidecarRow


def sidecar_names(photos: Sequence[str], sidecars: Set[str]) -> dict[str, tuple[str, ...]]:
    """Which sidecars belong to each photo.

    Two habits exist: photo.jpg.xmp and photo.xmp. Whichever is there counts, both if
    both are. Where none is, the first is chosen, which two photos never share.

    Parameters
    ----------
    photos : sequence of str
    sidecars : set of str
        Those that exist. One whose name is written in other letters, large for small, counts
        where it can mean no other photo.
    """
    stems = Counter(photo.rpartition(".")[0].lower() for photo in photos)
    alike = Counter(photo.lower() for photo in photos)
    folded: dict[str, list[str]] = {}
    for sidecar in sorted(sidecars):
        folded.setdefault(sidecar.lower(), []).append(sidecar)
    names = {}
    for photo in photos:
        stem = photo.rpartition(".")[0]
        candidates = [photo + SIDECAR_SUFFIX]
        # photo.xmp beside photo.jpg and photo.png says nothing of which it means.
        if stems[stem.lower()] == 1:
            candidates.append(stem + SIDECAR_SUFFIX)
        there = []
        for name in candidates:
            like = folded.get(name.lower(), [])
            if name in sidecars:
                there.append(name)
            elif len(like) == 1 and alike[photo.lower()] == 1:
                there += like
        names[photo] = tuple(there) or (photo + SIDECAR_SUFFIX,)
    return names


def _bytes_of(path: Path) -> bytes | None:
    """What is in a file; None for no file."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise SidecarError(f"cannot be read ({error.strerror})") from None


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _reason(error: SidecarError) -> str:
    return str(error).rpartition(": ")[2]
