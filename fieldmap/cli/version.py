"""``fieldmap version``: versions of everything that can change an answer."""

from __future__ import annotations

from fieldmap.cli.options import Debug, Json
from fieldmap.cli.reply import Reply, columns


def version(json: Json = False, debug: Debug = False) -> Reply:
    """Show the versions of everything that matters, both GDALs among it."""
    del json, debug
    from fieldmap.write.assessment import versions

    found = versions()
    return Reply(
        result={"versions": found}, lines=columns(list(found.items()), head=("what", "version"))
    )
