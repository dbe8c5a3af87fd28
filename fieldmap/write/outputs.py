"""Files written whole or not at all, and never over a file that is not ours."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from fieldmap.errors import Fault, InputError, StoreError

MANIFEST = ".fieldmap-written.json"
_PARTIAL = ".fieldmap-partial"


class Outputs:
    """One run's files on their way into a folder; a context manager.

    Files gather in a hidden folder beside their place. When the block ends well they are
    flushed to disk and moved into place one by one; when it ends in an error nothing is moved.
    What an earlier run of the same group wrote and this one did not is taken away, so that no
    old answer stands beside a new one. A file that two groups write belongs to the one that
    wrote it last.

    Parameters
    ----------
    folder : Path
        Where the files go; made when it is not there.
    group : str
        Whose files these are: ``"assess"`` or ``"move <name>"``.
    overwrite : bool
        Also replace files that fieldmap did not write, or that were changed since.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours; every one is named.
    """

    def __init__(self, folder: Path, *, group: str, overwrite: bool = False) -> None:
        self.folder = folder
        self._group = group
        self._overwrite = overwrite
        self._partial = folder / _PARTIAL
        self._names: list[str] = []

    def __enter__(self) -> Self:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            shutil.rmtree(self._partial, ignore_errors=True)
            self._partial.mkdir()
        except OSError as error:
            raise cannot_write(self.folder, error) from error
        self._written = self._manifest()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if error is None:
                self._move_into_place()
        except OSError as failure:
            raise cannot_write(self.folder, failure) from failure
        finally:
            shutil.rmtree(self._partial, ignore_errors=True)
        if isinstance(error, OSError):
            raise cannot_write(self.folder, error) from error

    @property
    def names(self) -> tuple[str, ...]:
        """Files of this run so far, relative to the folder."""
        return tuple(self._names)

    def path(self, name: str) -> Path:
        """Where to write a file for now; ``name`` is relative to the folder."""
        place = self._partial / name
        place.parent.mkdir(parents=True, exist_ok=True)
        self._names.append(name)
        return place

    def standing(self, name: str) -> Path | None:
        """A file of an earlier run, of any group, that nobody changed since; else ``None``."""
        path = self.folder / name
        known = {files.get(name) for files in self._written.values()} - {None}
        return path if known and path.is_file() and _digest(path) in known else None

    def text(self, name: str, text: str) -> None:
        """Add a text file (UTF-8, line ends as given)."""
        self.path(name).write_bytes(text.encode("utf-8"))

    def data(self, name: str, data: bytes) -> None:
        """Add a file of bytes."""
        self.path(name).write_bytes(data)

    def json(self, name: str, held: object) -> None:
        """Add a JSON file, keys in their order, one final line end."""
        self.text(name, json.dumps(held, indent=1, ensure_ascii=False, allow_nan=False) + "\n")

    def _manifest(self) -> dict[str, dict[str, str]]:
        try:
            return json.loads((self.folder / MANIFEST).read_text("utf-8"))
        except (FileNotFoundError, json.JSONDecodeError):
            return {}

    def _move_into_place(self) -> None:
        self._refuse_strangers()
        digests = {name: _digest(self._partial / name) for name in self._names}
        for name in self._names:
            flush(self._partial / name)
            target = self.folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            (self._partial / name).replace(target)
        for name, digest in self._written.get(self._group, {}).items():
            stale = self.folder / name
            if name not in digests and stale.is_file() and _digest(stale) == digest:
                stale.unlink()
        for files in self._written.values():
            for name in digests:
                files.pop(name, None)
        self._written[self._group] = digests
        manifest = self._partial / MANIFEST
        manifest.write_text(json.dumps(self._written, indent=1, sort_keys=True), "utf-8")
        flush(manifest)
        manifest.replace(self.folder / MANIFEST)

    def _refuse_strangers(self) -> None:
        if self._overwrite:
            return
        ours = {name: digest for files in self._written.values() for name, digest in files.items()}
        strange = [
            name
            for name in self._names
            if (self.folder / name).exists() and _digest(self.folder / name) != ours.get(name)
        ]
        if strange:
            raise InputError(
                Fault(
                    "a file in the way that fieldmap did not write, or that was changed since",
                    name,
                    "somebody's work would be lost",
                    "move it, choose another --out, or say --overwrite",
                    where=str(self.folder / name),
                )
                for name in strange
            )


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def flush(path: Path) -> None:
    """See a finished file onto the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def cannot_write(folder: Path, error: OSError) -> StoreError:
    """What to tell a person when the disk refuses."""
    return StoreError(
        Fault(
            "the outputs cannot be written",
            error.strerror or str(error),
            "nothing was changed that was not finished",
            "free the disk, mend the permission, or choose another --out",
            where=str(error.filename or folder),
        )
    )


def write_whole(path: Path, make: Callable[[Path], object], *, overwrite: bool = False) -> None:
    """One file where the user wants it: whole or not at all.

    Parameters
    ----------
    path : Path
        Where it goes; the folder must be there.
    make : callable
        Writes the file to the path it is given, one of the same name in a hidden folder beside.
    overwrite : bool
        Also replace a file that is there.

    Raises
    ------
    InputError
        A file of that name is there.
    StoreError
        Disk or permission.
    """
    partial = path.parent / f"{_PARTIAL}-{os.getpid()}"
    refuse_in_the_way(path, overwrite=overwrite)
    try:
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir()
        make(partial / path.name)
        flush(partial / path.name)
        refuse_in_the_way(path, overwrite=overwrite)
        (partial / path.name).replace(path)
    except OSError as error:
        raise cannot_write(path, error) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def refuse_in_the_way(path: Path, *, overwrite: bool) -> None:
    """Raise when a file of this name is there and must stay.

    Raises
    ------
    InputError
        It is there, and ``overwrite`` is false.
    """
    if not overwrite and (path.exists() or path.is_symlink()):
        raise InputError(
            Fault(
                "a file in the way",
                path.name,
                "somebody's work would be lost",
                "move it, choose another name, or say --overwrite",
                where=str(path),
            )
        )
