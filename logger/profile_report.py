"""A profile as documents: the JSON that programs read, and CSV by RFC 4180 (comma, CRLF, header)."""

import csv
import io
from typing import Any

from logger import slopes
from logger.profile import Profile
from logger.profile_file import COLUMNS
from logger.reduction.adjustment import Adjustment
from logger.reduction.closure import FLOOR_M, Closure

SCHEMA = "risewalk.profile/1"


def document(profile: Profile, adjustment: Adjustment | None = None) -> dict[str, Any]:
    """The JSON document of a profile; a profile from a CSV has no adjustment, and says so with empty lists."""
    return {
        "schema": SCHEMA,
        "datum": {"name": profile.datum, "elevation_m": profile.datum_elevation_m},
        "points": [
            {
                "station_m": p.station_m,
                "offset_m": p.offset_m,
                "elevation_m": p.elevation_m,
                "u_m": p.u_m,
                "observations": p.observations,
                "station_u_m": p.station_u_m,
            }
            for p in profile.points
        ],
        "named": [
            {"name": n.name, "elevation_m": n.elevation_m, "u_m": n.u_m}
            for n in profile.named
            if n.name != profile.datum
        ],
        "adjustment": _adjustment(adjustment),
        "closure": _closure(adjustment),
        "slopes": slopes.stretches(profile),
        "cross_falls": slopes.cross_falls(profile),
        "steepest": slopes.steepest(profile),
        "flattest": slopes.flattest(profile),
        "one_more": slopes.one_more(profile),
        "tape": str(profile.tape),
        "notes": list(profile.notes),
    }


def _adjustment(adjustment: Adjustment | None) -> dict[str, Any]:
    if adjustment is None:
        return {"redundancy": 0, "sigma0": None, "drift_m_per_h": [], "residuals": []}
    return {
        "redundancy": adjustment.redundancy,
        "sigma0": adjustment.sigma0,
        "drift_m_per_h": list(adjustment.drift_m_per_h),
        "residuals": [
            {"n": r.n, "residual_m": r.residual_m, "w": r.w, "suspect": r.suspect, "of": r.label}
            for r in adjustment.residuals
        ],
        "fits": adjustment.fits,
        "suspects": adjustment.suspects,
        "undetermined": list(adjustment.undetermined),
    }


def _closure(adjustment: Adjustment | None) -> dict[str, Any]:
    if adjustment is None:
        return {
            "misclosure_m": None,
            "tolerance_m": FLOOR_M,
            "status": "none",
            "u_m": 0.0,
            "observations": [],
            "each": [],
        }
    return _closed(adjustment.closure) | {"each": [_closed(each) for each in adjustment.closures]}


def _closed(closed: Closure) -> dict[str, Any]:
    return {
        "misclosure_m": closed.misclosure_m,
        "tolerance_m": closed.tolerance_m,
        "status": str(closed.status),
        "u_m": closed.u_m,
        "observations": list(closed.observations),
    }


def csv_text(profile: Profile) -> str:
    """The ground points as CSV, in the columns every command reads back."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    rows.writerows(
        [f"{value:.6f}" for value in (p.station_m, p.offset_m, p.elevation_m, p.u_m)] for p in profile.points
    )
    return out.getvalue()
