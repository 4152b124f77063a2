"""`verify`: whether a session is what was recorded."""

from pathlib import Path

import click

from tui.cli.output import emit_json, plain
from tui.cli.waiting import waiting


@click.command("verify", short_help="Check the digest chain, and derive everything again from the raw bytes.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--digest", default="", help="A digest printed on a sheet, whole or its first characters (8 at least).")
@click.option("--json", "_", is_flag=True, help="One JSON object on stdout (always so).")
def command(file: Path, digest: str, _: bool) -> None:
    """Check a session: its digest chain, and every observation made again from the raw bytes.

        risewalk verify bank.walk

    A cut tail or a whole file written anew shows only against the digest printed on a sheet: give it with --digest.
    """
    from logger.errors import CorruptSession
    from logger.session.verify import same_profile, verify

    if digest and (len(digest) < 8 or not all(c in "0123456789abcdefABCDEF" for c in digest)):
        raise click.BadParameter("a digest is at least 8 of the characters 0-9 and a-f", param_hint="--digest")
    try:
        with waiting("deriving every number again"):
            counts, recorded, derived = verify(file, digest)
            identical = same_profile(recorded, derived)
        if not identical and counts.same_way:
            raise CorruptSession(file, "the profile from the raw bytes is another than the recorded one")
    except CorruptSession as error:
        emit_json({"ok": False, "event": error.event, "profile_identical": False, "message": str(error)})
        raise
    emit_json({"ok": True, "profile_identical": identical, **plain(counts)})
