"""The as-built verdict as it forms: what was observed of the finished steps against the layout, worked out aside."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from drivers.errors import DriverError
from drivers.lengths import Units
from logger.errors import RiseError, WrongFile
from tui.walking.plan import small

if TYPE_CHECKING:
    from logger.asbuilt import AsBuilt
    from logger.profile import Profile
    from logger.steps.brief import Brief
    from logger.steps.option import Option

STATUS_WORDS = {"pass": "within", "fail": "OUTSIDE", "unsure": "too close to tell"}


@dataclass(frozen=True, slots=True)
class Finished:
    """A session that holds the finished steps, and the layout they were built to."""

    file: Path
    profile: "Profile"
    option: "Option"
    brief: "Brief"


@dataclass(frozen=True, slots=True)
class Checked:
    """The check so far, or why there is none."""

    result: "AsBuilt | None" = None
    trouble: str = ""


def checked(finished: Finished) -> Checked:
    """Judge the finished steps; every failure is a sentence in the answer."""
    from logger.finished import judged

    try:
        return Checked(judged(finished.file, finished.profile, finished.option, brief=finished.brief))
    except WrongFile as error:
        return Checked(trouble=error.mistakes[0])
    except (RiseError, DriverError) as error:
        return Checked(trouble=str(error))


def verdict_of(result: "AsBuilt | None") -> str:
    """How many risers are within, outside, or too close to tell: `2 within, 1 OUTSIDE`."""
    seen = [each.status.value for each in result.risers if each.built_face_m is not None] if result else []
    return ", ".join(f"{seen.count(status)} {word}" for status, word in STATUS_WORDS.items() if status in seen)


def verdict_lines(result: "AsBuilt", units: Units) -> list[tuple[str, str]]:
    """The whole verdict first, then riser by riser, those outside first, then the findings."""
    whole = [(STATUS_WORDS[result.status.value], f"the whole, by {result.limits.face_rule}; {result.rule}")]
    if result.uniformity_m is not None:
        even = f"largest and smallest face differ by {small(result.uniformity_m, units)}"
        whole.append(("evenness", f"{even} ({result.limits.evenness_rule})"))
    risers = []
    worst: Sequence[str] = ("fail", "unsure", "pass")
    for each in sorted(result.risers, key=lambda r: worst.index(r.status.value)):
        if each.built_face_m is None:
            continue
        text = f"face {small(each.built_face_m, units)}, designed {small(each.designed_face_m, units)}: "
        text += STATUS_WORDS[each.status.value] + (f". {each.fix}" if each.fix else "")
        risers.append((f"riser {each.riser}", text))
    return whole + risers + [(f.status.value, f.text) for f in result.findings]
