"""Files that people write: instruments, briefs, rule sets, catalogues, profiles, levelling notes."""

import contextlib
import json
import math

from fuzzing.target import ROOT, OfFile, Target, Wrong, ours


class InstrumentToml(Target):
    """Instrument files; what is accepted is written and read again, and its decoder is fed."""

    SAID = (
        b"$GPGGA,1,2,3*00\r\n+1.2345 m 20.1 C\r\n\xaa\x55\x04\x01\x02\x03\x04\x01\x03\x04\x3f\x80\x00\x00\xf7\xcf"
        + b"a" * 200
    )

    def seeds(self) -> list[bytes]:
        shipped = [p.read_bytes() for p in sorted((ROOT / "drivers/instruments").glob("*.toml"))]
        return [*shipped, (ROOT / "tui/demo/instrument.toml").read_bytes()]

    def take(self, data: bytes) -> None:
        from drivers.instrument import dump, parse
        from drivers.reading import Chunk
        from drivers.registry import make_decoder

        found = parse(data.decode("utf-8", "replace"), "the input")
        if parse(dump(found), "the input written again") != found:
            raise Wrong("written and read again, it is another")
        if not all(map(math.isfinite, (*found.accuracy, found.drift_m_per_h, found.resolution_m))):
            raise Wrong("an accuracy that is not finite")
        assert found.settle_rule
        decoder = make_decoder(found)
        decoder.request()
        for t_s in (0.0, 0.5, 1.0):
            for reading in decoder.feed(Chunk(t_s, self.SAID)):
                if not math.isfinite(reading.height_m):
                    raise Wrong(f"a height of {reading.height_m}")


class BriefToml(OfFile):
    """Briefs, as the steps read them and as the walk's screen does."""

    def seeds(self) -> list[bytes]:
        tables = b'[[landing_at]]\nstation = "2 m"\ndepth = "1 m"\n[[no_landing]]\nfrom = "3 m"\nto = "4 m"\n[cheek]\n'
        more = b'[steps]\ntread = "16 in"\nlanding = "36 in"\nrun = "21 ft"\nrise = "6 ft 8 in"\nfall = "1 %"\n'
        more += b'[unit]\nheight = "6 in"\ndepth = "18 in"\n[rules]\nsets = ["irc-2024"]\n'
        return [(ROOT / "tui/demo/brief.toml").read_bytes(), more, more + tables]

    def take(self, data: bytes) -> None:
        from drivers.lengths import Units
        from logger.steps.brief import read_brief
        from tui.walking.wanted import wanted_for

        path = self.written("brief.toml", data)
        with contextlib.suppress(*ours()):
            wanted_for(self.folder / "none.walk", path, Units.METRES)
        read_brief(path, {"tread": "0.35 m"} if len(data) % 2 else None)


class RuleToml(Target):
    """Rule sets."""

    def seeds(self) -> list[bytes]:
        return [p.read_bytes()[:3000] for p in sorted((ROOT / "logger/steps/rules").glob("*.toml"))]

    def take(self, data: bytes) -> None:
        from logger.steps.rulebook import parse

        parse(data.decode("utf-8", "replace"), "the input", "own")


class CatalogueFile(OfFile):
    """Catalogues, TOML and CSV."""

    def seeds(self) -> list[bytes]:
        table = b"use,name,price,per,pack,waste\nunit,Slab,12.50,each,10,5%\nbase,Gravel,30,m3,,\n"
        return [(ROOT / "tui/demo/catalogue.toml").read_bytes(), table]

    def take(self, data: bytes) -> None:
        from logger.catalogue import read_catalogue

        found = read_catalogue(self.written("c.csv" if data.startswith(b"use") else "c.toml", data))
        assert found.alternatives is not None


class ProfileCsv(OfFile):
    """Profiles; what is accepted is written and read again."""

    def seeds(self) -> list[bytes]:
        full = b"station_m,offset_m,elevation_m,u_m\n0,0,1.5,0.001\n1,-0.5,1.6,\n1,0,1.61,0.002\n2.5,0,2.0,0.002\n"
        return [(ROOT / "tui/demo/ground.csv").read_bytes(), full, b"station_m,elevation_m\n0,0\n1,1\n2,4\n"]

    def take(self, data: bytes) -> None:
        from logger.profile_file import read_profile
        from logger.profile_report import csv_text, document

        profile = read_profile(self.written("p.csv", data))
        json.dumps(document(profile), allow_nan=False, default=str)
        again = read_profile(self.written("p.csv", csv_text(profile).encode())).points
        if any(abs(a.elevation_m - b.elevation_m) > 1e-6 for a, b in zip(again, profile.points, strict=True)):
            raise Wrong("written and read again, it is another")


class LevelsCsv(OfFile):
    """Levelling notes, adjusted where they are accepted, and the pairs of the field test."""

    def seeds(self) -> list[bytes]:
        notes = [p.read_bytes() for p in sorted((ROOT / "fixtures/levels").glob("*.csv"))]
        return [*notes, b"set,a_m,b_m\n" + b"".join(b"%d,1.%d,2.0\n" % (s, i) for s in (1, 2) for i in range(6))]

    def take(self, data: bytes) -> None:
        from logger.field_test_file import read_differences
        from logger.reduction.adjustment import adjust
        from logger.reduction.levels import read_levels

        if data.startswith(b"set"):
            read_differences(self.written("pairs.csv", data))
        profile = adjust(read_levels(data.decode("utf-8", "replace"), "the input").survey()).profile
        if not all(math.isfinite(p.elevation_m) for p in (*profile.points, *profile.named)):
            raise Wrong("an elevation that is not finite")


class GroundCsv(OfFile):
    """The ground of a virtual level."""

    def seeds(self) -> list[bytes]:
        return [(ROOT / "tui/demo/ground.csv").read_bytes(), b"station_m,elevation_m\n3,1e3\n-1,-2.5\n"]

    def take(self, data: bytes) -> None:
        from drivers.simulator.ground import read_ground

        ground = read_ground(self.written("g.csv", data))
        if not math.isfinite(ground.elevation_m(ground.stations_m[0])):
            raise Wrong("a height that is not finite")
