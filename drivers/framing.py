"""Cutting bytes into lines: keeps what is not yet whole, never more than a bounded piece of it."""

LONGEST_LINE = 1024


class LineFramer:
    """Lines between delimiters; CR, LF and CRLF all end a line where no delimiter is given."""

    def __init__(self, delimiter: bytes = b"", longest: int = LONGEST_LINE) -> None:
        self.delimiter = delimiter
        self.longest = longest
        self.overlong = 0
        """How many lines were dropped because they grew longer than `longest`."""
        self._rest = b""
        self._skipping = False
        self.first = True
        """Whether the next line may have lost its beginning: nothing but it has been heard."""

    def reset(self) -> None:
        """Forget what is not whole; the next line may have lost its beginning."""
        self._rest = b""
        self._skipping = False
        self.first = True

    def feed(self, data: bytes) -> list[bytes]:
        """The lines these bytes complete, empty ones left out; the first may be cut while `first` was true."""
        data = self._rest + data
        if self.delimiter:
            lines = data.split(self.delimiter)
        else:
            if b"\r" in data:
                data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            lines = data.split(b"\n")
        rest = lines.pop()
        if lines:
            if self._skipping or (self.first and not lines[0]):
                del lines[0]
                self._skipping = self.first = False
            lines = list(filter(None, lines))
            if lines and max(map(len, lines)) > self.longest:
                whole = [line for line in lines if len(line) <= self.longest]
                self.overlong += len(lines) - len(whole)
                lines = whole
        if len(rest) > self.longest:
            self.overlong += not self._skipping
            self._skipping = True
            rest = rest[-len(self.delimiter) :] if len(self.delimiter) > 1 else b""
        self._rest = rest
        return lines
