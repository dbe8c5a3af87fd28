"""Several large files where the user wants them: all of them whole, or none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from fieldmap.write.outputs import cannot_write, flush, refuse_in_the_way


@contextmanager
def whole_files(paths: Sequence[Path], *, overwrite: bool = False) -> Iterator[tuple[Path, ...]]:
    """Places to write to for now; when the block ends well the files move to where they belong.

    Unlike :class:`fieldmap.write.outputs.Outputs` it keeps no list of what it wrote, and so need
    not read gigabytes again.

    Parameters
    ----------
    paths : sequence of Path
        All in one folder, which is made when it is not there.
    overwrite : bool
        Also replace files that are there.

    Raises
    ------
    InputError
        A file of one of the names is there.
    StoreError
        Disk or permission.
    """
    folder = paths[0].parent
    partial = folder / f".fieldmap-partial-{os.getpid()}"
    for path in paths:
        refuse_in_the_way(path, overwrite=overwrite)
    try:
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir(parents=True)
        places = tuple(partial / path.name for path in paths)
        yield places
        with ThreadPoolExecutor(len(places)) as pool:
            list(pool.map(flush, places))
        for path in paths:
            refuse_in_the_way(path, overwrite=overwrite)
        for place, path in zip(places, paths, strict=True):
            place.replace(path)
    except OSError as error:
        raise cannot_write(folder, error) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
