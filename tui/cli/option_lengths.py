"""A length given as an option of a command."""

import click

from drivers.errors import LengthError
from drivers.lengths import Units, length_m


def length_over_nothing(text: str, option: str, units: Units = Units.METRES) -> float:
    """The length in metres, a bare number in `units`; usage errors name the option."""
    try:
        value = length_m(text, units)
    except LengthError as error:
        raise click.BadParameter(str(error), param_hint=option) from None
    if value <= 0:
        raise click.BadParameter(f"{text!r} must be more than nothing", param_hint=option)
    return value
