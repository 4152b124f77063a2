"""Units as instruments write them: case, abbreviations and words of several languages, to metres or pascals."""

from functools import lru_cache

from drivers.quantities import unit_factor

LENGTH_M = {
    1.0: """m metre metres meter meters mtr mts mètre mètres metro metros metri metr metry metrów metrů metriä м метр
        метра метров метрів 米 公尺 メートル 미터 μέτρα μέτρο μ metru méter متر מטר metras metrai meetrit เมตร mét""",
    0.1: "dm decimetre decimeter dezimeter",
    0.01: """cm centimetre centimetres centimeter centimeters zentimeter centimètre centimètres centímetro centímetros
        centimetro centimetri centymetr centymetry senttimetri senttimetriä santimetre см сантиметр сантиметра
        сантиметров 厘米 公分 センチ センチメートル 센티미터 centiméter centimetrů centimetry centimetru εκατοστά εκ سم
        سنتيمتر ס"מ sentimeter senti""",
    0.001: """mm millimetre millimetres millimeter millimeters millimètre millimètres milímetro milímetros millimetro
        millimetri milimetr milimetry milimetrów milimetre millimetriä мм миллиметр миллиметра
        миллиметров 毫米 公厘 ミリ ミリメートル 밀리미터 milliméter milimetri milimetru milimetrů χιλιοστά χιλ مم ملم
        مليمتر מ"מ""",
    1e-6: "um µm μm",
    0.3048: """ft foot feet ' fuss fuß pied pieds pie pies piede piedi pé pés stopa stopy stóp voet fot fod jalka jalkaa
        фут фута футов фути 英尺 フィート 피트 láb stopp πόδια قدم רגל picior picioare ayak ′ ’""",
    0.0254: """in inch inches " '' ins zoll pouce pouces pulgada pulgadas pollice pollici polegada polegadas cale cali
        tum tomme tommer duim tuuma tuumaa palec palce palců inç дюйм дюйма дюймов дюйми
        дюймів 英寸 吋 インチ 인치 cal cala hüvelyk țol inci tolli ίντσες ίντσα بوصة אינץ ″ ”""",
    0.9144: "yd yard yards",
}
PRESSURE_PA = {
    1.0: "pa pascal",
    100.0: "hpa mbar mb",
    1000.0: "kpa",
    1e5: "bar",
    6894.757293168: "psi",
    9.80665: "mmh2o mmwc mmws",
    98.0665: "cmh2o cmwc cmws",
    9806.65: "mh2o mwc mws",
    249.08891: "inh2o inwc",
}
"""Columns of water by the convention of 4 C and standard gravity (1000 kg/m3): 9.80665 Pa to the millimetre."""

LENGTHS = {word: factor for factor, words in LENGTH_M.items() for word in words.split()}
PRESSURES = {word: factor for factor, words in PRESSURE_PA.items() for word in words.split()}
LONGEST = 24


@lru_cache(maxsize=512)
def unit_of(word: str) -> tuple[str, float] | None:
    """What a unit is by its word: (`m` or `Pa`, its size); None if it is neither a length nor a pressure.

    Looked up here, and by name in the unit library for the rest.
    """
    plain = word.strip().rstrip(".")
    key = plain.casefold() if plain not in ("'", '"', "''") else plain
    if key in LENGTHS:
        return "m", LENGTHS[key]
    if key in PRESSURES:
        return "Pa", PRESSURES[key]
    if not plain or len(plain) > LONGEST or not plain.replace("_", "").isalnum() or plain[0].isdigit():
        return None
    for si in ("m", "Pa"):
        try:
            return si, unit_factor(plain, si)
        except ValueError:
            continue
    return None
