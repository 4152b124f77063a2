"""`risewalk asbuilt`: what was built against what was designed."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drivers.lengths import Units
from tui.cli import OK, OUT_OF_TOLERANCE
from tui.cli.option_lengths import length_over_nothing
from tui.cli.output import emit_json
from tui.cli.plan import EXISTING, live_options, plan_arguments, read_plan

if TYPE_CHECKING:
    from logger.asbuilt import Limits


def limits_of(tolerance: str | None, evenness: str | None, depth: str | None, units: Units) -> "Limits":
    """The limits asked for, the default ones where nothing is."""
    from logger.asbuilt import Limits

    limits = Limits()
    if tolerance is not None:
        face_m = length_over_nothing(tolerance, "--tolerance", units)
        limits = replace(limits, face_m=face_m, face_rule="the tolerance asked for")
    if evenness is not None:
        evenness_m = length_over_nothing(evenness, "--evenness", units)
        limits = replace(limits, evenness_m=evenness_m, evenness_rule="the evenness asked for")
    if depth is not None:
        depth_m = length_over_nothing(depth, "--depth-tolerance", units)
        limits = replace(limits, depth_m=depth_m, depth_rule="the depth tolerance asked for")
    return limits


@click.command(epilog='Example: risewalk asbuilt bank.walk --brief brief.toml --built steps.walk --tolerance "1/4 in"')
@plan_arguments
@live_options
@click.option("--built", type=EXISTING, help="The walk over the finished steps; FILE itself where it holds both.")
@click.option("--tolerance", help="Allowed from the designed face (default: 5 mm).")
@click.option("--evenness", help="Allowed between the largest and smallest face of a flight (default: 3/8 in).")
@click.option("--depth-tolerance", "depth", help="Allowed from the designed depth of a tread (default: 5 mm).")
@click.option("--json", "as_json", is_flag=True, help="For programs: metres, one document.")
def command(
    *,
    file: Path,
    built: Path | None,
    tolerance: str | None,
    evenness: str | None,
    depth: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Compare the finished steps with the layout, riser by riser, with the uncertainty of what was observed.

    The answer is pass, fail, or unsure where it is too close to tell. Exit 1 when it fails. Depths are checked where
    they were taped (`tread RISER LENGTH`) or nosings have distances (`built RISER front DISTANCE`). With --port or
    --live every step is observed in turn first, and judged when the input ends.
    """
    from logger.built_heights import Status
    from logger.export.documents import asbuilt_document
    from logger.finished import judged
    from logger.sheets.built import asbuilt_sheet
    from logger.sheets.text import plain_text

    plan = read_plan(file, given)
    limits = limits_of(tolerance, evenness, depth, plan.units)
    if given["port"] or given["live"]:
        from logger.guidance import Level
        from tui.cli.live import guide

        within = limits.face_m
        walked = built or file
        code = guide(plan, walked, given, level=Level.FINISHED, tolerance_m=within, as_json=as_json, building=False)
        if code:
            return code
    result = judged(built or file, plan.profile, plan.option, brief=plan.brief, limits=limits)
    if as_json:
        emit_json(asbuilt_document(result), line=bool(given["port"] or given["live"]))
    else:
        click.echo(plain_text(asbuilt_sheet(plan.profile, plan.option, result, plan.units)), nl=False)
    return OUT_OF_TOLERANCE if result.status is Status.FAIL else OK
