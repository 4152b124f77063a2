"""Text from a device, a file or a person as a terminal or a page may have it: control characters told, never obeyed."""


def shown(text: str, *, keep: str = "") -> str:
    """The text with everything that is not printable written out, but for the characters to `keep`."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in keep else repr(c)[1:-1] for c in text)


def shown_json(text: str) -> str:
    """JSON text that says the same and holds nothing but printable characters and line ends."""
    if text.isprintable():
        return text
    import json

    return "".join(c if c.isprintable() or c == "\n" else json.dumps(c)[1:-1] for c in text)
