"""Numbers on the command line."""

import math
from typing import Any

import click


class Finite(click.FloatRange):
    """A number between bounds; `nan` and `inf` are none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; a usage error where it is none."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a number that can be", param, ctx)
        return number
