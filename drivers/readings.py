"""Readings of one chunk in columns: objects are made only where someone looks at one."""

from collections.abc import Iterator, Sequence
from typing import overload

from drivers.reading import Reading

Column = Sequence[float | None]
Row = tuple[float, float | None, float | None]
"""Height in metres, temperature in Celsius and battery, None where it is not known."""


class Readings(Sequence[Reading]):
    """The readings one chunk completed; all of them arrived at `t_s`.

    `heights_m` has one number each; the other columns are as long, or None where no reading has that field.
    """

    __slots__ = ("batteries", "heights_m", "stables", "t_s", "temperatures_c")

    def __init__(
        self,
        t_s: float,
        heights_m: Sequence[float],
        *,
        temperatures_c: Column | None = None,
        batteries: Column | None = None,
        stables: Sequence[bool | None] | None = None,
    ) -> None:
        self.t_s = t_s
        self.heights_m = heights_m
        self.temperatures_c = temperatures_c
        self.batteries = batteries
        self.stables = stables

    @classmethod
    def of(cls, t_s: float, rows: Sequence[Row]) -> "Readings":
        """Readings from rows of height, temperature and battery."""
        if not rows:
            return NONE
        heights, temperatures, batteries = zip(*rows, strict=True)
        return cls(t_s, heights, temperatures_c=temperatures, batteries=batteries)

    def __len__(self) -> int:
        """How many."""
        return len(self.heights_m)

    @overload
    def __getitem__(self, index: int) -> Reading: ...
    @overload
    def __getitem__(self, index: slice) -> list[Reading]: ...
    def __getitem__(self, index: int | slice) -> Reading | list[Reading]:
        """One reading, made now."""
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        return Reading(
            self.t_s,
            self.heights_m[index],
            self.temperatures_c[index] if self.temperatures_c is not None else None,
            self.batteries[index] if self.batteries is not None else None,
            self.stables[index] if self.stables is not None else None,
        )

    def __iter__(self) -> Iterator[Reading]:
        """Each reading, made as it is reached."""
        return (self[i] for i in range(len(self.heights_m)))

    def __eq__(self, other: object) -> bool:
        """Equal where the readings are."""
        return isinstance(other, Sequence) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        """The readings spelled out."""
        return f"Readings({list(self)!r})"


NONE = Readings(0.0, ())
"""What most chunks of a slow line yield."""
