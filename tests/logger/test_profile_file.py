"""A profile from CSV: what is taken, and every mistake told with its line."""

from pathlib import Path

import numpy as np
import pytest

from logger.errors import FileError, NotASession, WrongFile
from logger.observation import Instrument, Kind, Observation, Surface, Survey
from logger.profile import Profile, ProfilePoint
from logger.profile_file import read_profile
from logger.profile_report import csv_text, document
from logger.slopes import cross_falls, flattest, one_more, steepest


def written(folder: Path, text: str) -> Path:
    path = folder / "ground.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_profile_of_the_corpus_reads(corpus: Path) -> None:
    for path in sorted((corpus / "profiles").glob("*.csv")):
        profile = read_profile(path)
        table = np.loadtxt(path, delimiter=",", skiprows=1)
        assert [p.station_m for p in profile.points] == list(table[:, 0])
        assert [p.elevation_m for p in profile.points] == list(table[:, 1])


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    points = tuple(ProfilePoint(s, o, 1.5 + s, 0.0005) for s, o in ((0.0, 0.0), (1.0, -0.5), (1.0, 0.0), (2.25, 0.0)))
    path = tmp_path / "p.csv"
    path.write_text(csv_text(Profile(points)), newline="")
    assert read_profile(path).points == points


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "it is empty"),
        ("a,b\n1,2\n", "no column station_m"),
        ("station_m,elevation_m\n0,1\n", "at least two points"),
        ("station_m,elevation_m\n0,1\n1,high\n", "line 3: elevation_m 'high' is not a number"),
        ("station_m,elevation_m\n0,1\n1,nan\n", "line 3: elevation_m 'nan' is not a number"),
        ("station_m,elevation_m\n0,1\n1,inf\n", "not a number"),
        ("station_m,elevation_m\n0,1\n1,\n", "line 3: elevation_m '' is not a number"),
        ("station_m,elevation_m\n0,1\n1,2\n1,3\n", "line 4: station 1 stands there twice"),
        ("station_m,elevation_m\n0,1\n2,2\n1,3\n", "line 4: station 1 comes after 2"),
        ("station_m,elevation_m\n0,1\n1,5,2\n", "line 3: 3 values under 2 columns"),
        ("station_m,elevation_m,u_m\n0,1,0\n1,5,-1\n", "line 3: u_m '-1' is not positive"),
        ("station_m,station_m,elevation_m\n", "stands there twice"),
    ],
)
def test_mistakes_in_words(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(WrongFile, match=told):
        read_profile(written(tmp_path, text))


def test_all_mistakes_at_once(tmp_path: Path) -> None:
    with pytest.raises(WrongFile) as caught:
        read_profile(written(tmp_path, "station_m,elevation_m\n0,x\n1,1\n1,2\n0.5,3\n"))
    assert len(caught.value.mistakes) == 3


def test_what_is_no_profile_at_all(tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(b"\x00\x01\x02")
    with pytest.raises(NotASession):
        read_profile(tmp_path / "binary")
    (tmp_path / "latin").write_bytes(b"station_m,elevation_m\n0,1 \xb1\n")
    with pytest.raises(WrongFile, match="line 2: it is not UTF-8"):
        read_profile(tmp_path / "latin")
    for path in (tmp_path, tmp_path / "missing"):
        with pytest.raises(FileError):
            read_profile(path)


def test_cross_fall_between_the_outermost_points_beside_the_line() -> None:
    points = tuple(
        ProfilePoint(x, side, z, 0.001)
        for x, side, z in ((0, 0, 1.0), (1, -0.6, 1.2), (1, 0, 1.26), (1, 0.6, 1.26), (2, -0.5, 1.5), (2, 0, 1.45))
    )
    first, second = cross_falls(Profile(points))
    assert (first.station_m, first.slope) == (1, pytest.approx(0.05))
    assert first.u == pytest.approx(0.001 * 2**0.5 / 1.2)
    assert (second.station_m, second.slope) == (2, pytest.approx(-0.1))
    together = cross_falls(Profile(points, covariance_m2=np.full((6, 6), 1e-6)))
    assert [c.u for c in together] == [0.0, 0.0]


def test_slopes_and_where_one_more_reading_helps() -> None:
    heights = [(0.0, 0.0), (1.0, 0.02), (2.0, 0.5), (4.0, 0.9), (5.0, 1.2)]
    profile = Profile(tuple(ProfilePoint(s, 0.0, h, 0.0005) for s, h in heights))
    steep, flat, more = steepest(profile), flattest(profile), one_more(profile)
    assert steep is not None
    assert (steep.from_m, steep.slope) == (1.0, pytest.approx(0.48))
    assert flat is not None
    assert flat.from_m == 0.0
    assert more is not None
    assert (more.station_m, more.again) == (3.0, False)
    straight = Profile(tuple(ProfilePoint(s, 0.0, s * 0.3, 0.002 if s == 2 else 0.0005) for s in (0.0, 1.0, 2.0, 3.0)))
    more = one_more(straight)
    assert more is not None
    assert (more.station_m, more.again) == (2.0, True)


def test_document_of_a_csv_says_that_nothing_was_adjusted() -> None:
    told = document(Profile((ProfilePoint(0.0, 0.0, 1.0, 0.0), ProfilePoint(1.0, 0.0, 1.1, 0.0))))
    assert told["schema"] == "risewalk.profile/1"
    assert told["closure"]["status"] == "none"
    assert told["adjustment"]["residuals"] == []


def test_work_that_was_moved_between_two_readings_does_not_bend_the_ground(monkeypatch: pytest.MonkeyPatch) -> None:
    walked = [(Kind.BENCHMARK, 0.2, {"name": "BM", "elevation_m": 0.0})]
    walked += [(Kind.STATION, h, {"tape_m": x}) for x, h in ((0.0, 0.0), (0.6, 0.275), (1.2, 0.55))]
    walked += [(Kind.BENCHMARK, 0.2, {"name": "BM", "elevation_m": 0.0})]
    dug = [(Kind.STATION, h, {"tape_m": 0.4, "surface": Surface.DUG}) for h in (-0.05, -0.10)]

    def profile(of: list) -> Profile:
        seen = (Observation(n, kind, 1, float(n), h, 2e-4, **more) for n, (kind, h, more) in enumerate(of, 1))
        survey = Survey(tuple(seen), instrument=Instrument(accuracy_u_m=6e-4))
        monkeypatch.setattr("logger.profile_file.is_session", lambda _: True)
        monkeypatch.setattr("logger.session.replay.survey", lambda _, **__: survey)
        return read_profile("bank.walk")

    before, after = profile(walked), profile(walked + dug)
    assert after.points == before.points
    assert (before.dug_m, after.dug_m) == (None, (0.4, 0.4))
