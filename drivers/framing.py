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
        return self.lines(self.block(data))

    def block(self, data: bytes) -> bytes:
        """The lines these bytes complete as one piece, each with its end: LF, or the delimiter where one is given."""
        data, end_mark = self._rest + data, self.delimiter or b"\n"
        if not self.delimiter and b"\r" in data:
            data = data.replace(b"\r\n", b"\n")
            if b"\r" in data:
                data = data.replace(b"\r", b"\n")
        begin, end = 0, data.rfind(end_mark) + len(end_mark)
        if end < len(end_mark):
            end = 0
        elif self._skipping or (self.first and data.startswith(end_mark)):
            begin = data.index(end_mark) + len(end_mark)
            self._skipping = self.first = False
        self._keep(data[end:])
        return data[begin:end]

    def lines(self, block: bytes) -> list[bytes]:
        """The lines of a block, those left out that are empty or too long."""
        lines = list(filter(None, block.split(self.delimiter or b"\n")))
        if lines and max(map(len, lines)) > self.longest:
            whole = [line for line in lines if len(line) <= self.longest]
            self.overlong += len(lines) - len(whole)
            return whole
        return lines

    def _keep(self, rest: bytes) -> None:
        """What is not yet whole, bounded."""
        if len(rest) > self.longest:
            self.overlong += not self._skipping
            self._skipping = True
            rest = rest[-len(self.delimiter) :] if len(self.delimiter) > 1 else b""
        self._rest = rest
