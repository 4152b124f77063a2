"""`risewalk fieldtest FILE`: the standard's test of the user's own instrument."""

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from logger.observation import COVERAGE
from tui.cli.option_lengths import length_over_nothing
from tui.cli.output import emit_json

if TYPE_CHECKING:
    from logger.reduction.field_test import FieldTest


@click.command("fieldtest", short_help="The standard's test of your own instrument.")
@click.argument("file", type=click.Path())
@click.option("--sigma", metavar="LENGTH", help="Standard deviation stated for one difference, such as 1 mm.")
@click.option(
    "--distance", metavar="LENGTH", default="60 m", show_default=True, help="Distance between the two points."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout.")
def command(file: str, sigma: str | None, distance: str, as_json: bool) -> int:
    """Test an instrument between two points A and B, twenty pairs of heights in each of two sets.

    FILE is a session in which the points A and B were observed in turn, the second set after `setup`; or a CSV with the
    columns set,a_m,b_m. Exchange the ends of the instrument between the sets. Exits 1 where a question is answered no.

    Example: risewalk fieldtest pairs.csv --sigma "1 mm"
    """
    from logger.field_test_file import read_differences
    from logger.reduction.field_test import evaluate

    stated = None if sigma is None else length_over_nothing(sigma, "--sigma")
    sight = length_over_nothing(distance, "--distance")
    first, second = read_differences(file)
    result = evaluate(first, second, stated_m=stated, sight_m=sight)
    if as_json:
        emit_json({"schema": "risewalk.fieldtest/1", **asdict(result), "passed": result.passed})
    else:
        _tell(result)
    return 0 if result.passed else 1


def _tell(result: "FieldTest") -> None:
    pairs = " and ".join(map(str, result.pairs))
    click.echo(f"{pairs} pairs, {result.freedom} degrees of freedom")
    click.echo(f"standard deviation of one difference   {result.sigma_m * 1000:.3f} mm")
    click.echo(f"of one kilometre run twice             {result.sigma_km_m * 1000:.3f} mm")
    click.echo(
        f"difference between the sets            {result.zero_difference_m * 1000:+.3f} mm"
        f"  ± {COVERAGE * result.zero_difference_u_m * 1000:.3f} mm (95 %)"
    )
    for question in result.questions:
        click.echo(f"{'yes' if question.passed else 'NO '}  {question.text}")
    for note in result.notes:
        click.echo(f"note: {note}")
