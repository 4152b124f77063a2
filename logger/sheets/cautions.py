"""The cautions printed where they bear on the work. Common practice of the trade, in our own words."""

from logger.steps.option import Option

FIRST = "Do not dig before buried services are located and marked."
BEFORE = (
    "Dig by hand beside every mark of a service. Stay out of a deep cut that is neither battered nor shored.",
    "All cautions stand at the end of this sheet: read them before the first spade.",
)
DIGGING = (
    "Before the first spade: have gas, power, water, drains and cables located and marked by the service that does it "
    "where you are. Dig by hand beside every mark.",
    "A cut bank can fall without warning and bury a kneeling person. Keep spoil, people and machines back from its "
    "edge, batter or shore what is deep, and stay out after rain until it has been looked at again.",
    "Depth to frost-free or undisturbed ground is a local figure: ask for it, do not guess it.",
    "Cheek walls, walls that hold a bank, and steps against a building may need an engineer.",
)
BUILDING = (
    "Step units weigh more than a person should lift: use a machine or enough hands, and keep feet and fingers clear.",
    "Cut stone and concrete wet or with extraction, and wear a mask made for silica dust.",
    "Water and ice run down a flight: lead water away at the head and beside the steps, never towards a wall.",
)
CLIENT = (
    "Digging starts only after buried services were located and marked.",
    "Rock, springs, old foundations or soft ground found while digging change the work and its price.",
    "Depth to frost-free ground is local. Walls and steps against a building may need an engineer.",
    "Water and ice run down a flight: it has to be drained, and cleared and gritted in winter.",
)
GOVERNS = "Local code and licensed practice govern. These figures do not replace either."


def guards(option: Option) -> tuple[str, ...]:
    """What the sheet may say of guards and handrails: never a pass where the sides were not looked at."""
    said = tuple(
        f"{name}: {f.text}"
        for f in option.findings
        for name, word in (("Guard", "guard"), ("Handrail", "handrail"))
        if word in f.rule
    )
    return tuple(dict.fromkeys(said)) or (
        "Guards and handrails: not checked. Heights beside the steps were not judged.",
    )
