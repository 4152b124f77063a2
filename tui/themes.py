"""Two themes of our own: `noon`, black on white for the sun, and `dusk`. Text holds 7:1 on its ground, the rest 4.5:1.

A test measures the contrast of what is really painted on every screen.
"""

from textual.theme import Theme

NOON = "noon"
DUSK = "dusk"


def _theme(name: str, *, dark: bool, **colours: str) -> Theme:
    """A theme from our few colours: nothing is blended by the framework that could lose contrast."""
    ink, paper, band = colours["ink"], colours["paper"], colours["band"]
    return Theme(
        name=name,
        dark=dark,
        primary=colours["line"],
        secondary=colours["earth"],
        accent=colours["line"],
        warning=colours["alarm"],
        error=colours["alarm"],
        success=colours["sure"],
        foreground=ink,
        background=paper,
        surface=paper,
        panel=band,
        variables={
            **colours,
            "text": ink,
            "text-muted": colours["soft"],
            "text-disabled": colours["soft"],
            "border": ink,
            "block-cursor-background": ink,
            "block-cursor-foreground": paper,
            "block-cursor-blurred-background": band,
            "block-cursor-blurred-foreground": ink,
            "input-cursor-background": ink,
            "input-cursor-foreground": paper,
            "input-selection-background": colours["line"],
            "input-selection-foreground": paper,
            "scrollbar": colours["soft"],
            "scrollbar-background": band,
            "scrollbar-corner-color": band,
            "footer-background": band,
            "button-foreground": ink,
            "button-color-foreground": paper,
        },
    )


noon = _theme(
    NOON,
    dark=False,
    ink="#000000",
    paper="#ffffff",
    band="#e9e4d8",
    soft="#3f3a30",
    earth="#6a4a2c",
    line="#0a3a86",
    alarm="#8c0f00",
    sure="#00502c",
)
dusk = _theme(
    DUSK,
    dark=True,
    ink="#fbf6e9",
    paper="#12100c",
    band="#2a261e",
    soft="#d6cdb8",
    earth="#b58a57",
    line="#9fd0ff",
    alarm="#ffb8a3",
    sure="#a8e6b4",
)
THEMES = (noon, dusk)
