"""A length given as an option of a command."""

import click


def length_over_nothing(text: str, option: str) -> float:
    """The length in metres; usage errors name the option."""
    from drivers.errors import LengthError
    from drivers.lengths import length_m

    try:
        value = length_m(text)
    except LengthError as error:
        raise click.BadParameter(str(error), param_hint=option) from None
    if value <= 0:
        raise click.BadParameter("it is more than nothing", param_hint=option)
    return value
