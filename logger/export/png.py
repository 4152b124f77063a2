"""A drawing as a picture in dots, made from its SVG by typst; needs the extra `sheets`."""

from logger.errors import Refused

DOTS_PER_INCH = 200.0
PAGE = '#set page(width: auto, height: auto, margin: 0pt)\n#image(bytes(sys.inputs.drawing), format: "svg")'


def png(svg: str) -> bytes:
    """The drawing as PNG; Refused where typst is not installed."""
    try:
        import typst
    except ImportError:
        raise Refused("no_typst", "PNG needs the extra: pip install 'risewalk[sheets]'; SVG works without") from None
    compiler = typst.Compiler(PAGE.encode(), ignore_system_fonts=True, sys_inputs={"drawing": svg})
    made = compiler.compile(format="png", ppi=DOTS_PER_INCH)
    assert isinstance(made, bytes)
    return made
