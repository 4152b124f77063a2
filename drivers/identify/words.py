"""What the words beside a number say it is, in the languages instruments are sold in."""

from enum import StrEnum

from drivers.units import LENGTHS, PRESSURES


class Role(StrEnum):
    """What a number on a line is."""

    HEIGHT = "height"
    TEMPERATURE = "temperature"
    BATTERY = "battery"
    OTHER = "other"
    UNKNOWN = "unknown"


LABELS = {
    Role.HEIGHT: """h hgt ht height heights elev elevation el level lvl lev niveau pegel höhe hoehe
        hauteur altura altezza nivel livello quota cota wysokość wysokosc poziom høyde höjd hoogte peil korkeus alt
        altitude z dz dh depth tiefe
        hauteurs výška vyska yükseklik высота висота уровень рівень 高度 液位 高さ 標高 水位
        높이 수위 rl højde magasság szint înălțime inaltime nivå nivo visina razina wysokości ύψος υψόμετρο στάθμη
        ارتفاع גובה hladina seviye taso taseme kõrgus augstums aukštis ความสูง độ cao tinggi hgt""",
    Role.TEMPERATURE: """t temp tmp temperature temperatur température temperatura temperatuur
        lämpötila teplota sıcaklık температура 温度 온도 hőmérséklet temperatură θερμοκρασία tw tc""",
    Role.BATTERY: """b bat batt battery akku batterie batteria batería bateria pile vbat ubat batterij batteri vb
        battv power 电池 電池 батарея аккумулятор bateri akumulátor baterie""",
    Role.OTHER: """n no nr num count cnt seq id ch channel time date ts ms s sec std sd sigma q quality rssi snr
        raw adc crc cs status stat err roll pitch tilt angle x y speed v i addr rh hum humidity feuchte ph
        min max tol dev std target ref range dist distance distanz abstand entfernung distancia distanza odległość
        afstand avstånd avstand etäisyys vzdálenost mesafe расстояние відстань 距離 距离 거리 length länge width age""",
}
UNITS = {
    Role.TEMPERATURE: "c °c ℃ ° degc °f ℉ degf f °k k celsius grad",
    Role.BATTERY: "% v mv volt volts",
    Role.OTHER: """s ms sec min a ma ohm hz khz db dbm m/s mm/s ft/s m/min m3 m3/h l l/min g kg pc ct deg rad lb oz
        n kn w counts cnt rpm lux ppm mg t""",
}
LABEL_ROLE = {word: role for role, words in LABELS.items() for word in words.split()}
UNIT_ROLE = {word: role for role, words in UNITS.items() for word in words.split()}
STATUS_LETTERS = set("ABDEGHILNORSTUW")
"""Capitals that stand for a state of the instrument far more often than for a unit."""
AT_REST = {"s", "st", "stable", "stabil", "ok"}
MOVING = {"u", "us", "unstable", "m", "d", "instabil", "mot"}


def label_role(word: str) -> Role:
    """What a word before a number says it is."""
    return LABEL_ROLE.get(word.casefold(), Role.UNKNOWN)


def unit_role(word: str) -> Role:
    """What a word behind a number says it is: HEIGHT for a unit of length or pressure."""
    key = word.casefold()
    if word in STATUS_LETTERS:
        return Role.UNKNOWN
    if key in LENGTHS or key in PRESSURES or key.rstrip(".") in LENGTHS:
        return Role.HEIGHT
    return UNIT_ROLE.get(key, Role.UNKNOWN)
