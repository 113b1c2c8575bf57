"""On which line of a TOML text does a key stand?

The standard library's reader keeps no positions. This scanner walks a text that the reader has
already accepted, so it need not judge the syntax, only follow it.
"""

Path = tuple[str | int, ...]

_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def key_lines(text: str) -> dict[Path, int]:
    """Give the 1-based line of every key and table of a valid TOML text.

    Parameters
    ----------
    text : str
        The text, already accepted by `tomllib`.

    Returns
    -------
    dict
        Path to line. Elements of arrays (of tables too) stand in the path as 1-based numbers:
        `("array", 1, "tubes")`.
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.document()
    return scanner.lines


class _Scanner:
    """A position in the text, and what was met so far."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.lines: dict[Path, int] = {}
        self._elements: dict[Path, int] = {}

    def document(self) -> None:
        """Walk the text from table to table."""
        table: Path = ()
        while True:
            self._blank(newlines=True)
            if self.at >= len(self.text):
                return
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _move(self, count: int) -> None:
        self.line += self.text.count("\n", self.at, self.at + count)
        self.at += count

    def _blank(self, *, newlines: bool) -> None:
        blanks = " \t\n" if newlines else " \t"
        while self.at < len(self.text):
            sign = self.text[self.at]
            if sign in blanks:
                self._move(1)
            elif sign == "#" and newlines:
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                return

    def _note(self, path: Path, line: int) -> None:
        for depth in range(1, len(path) + 1):
            self.lines.setdefault(path[:depth], line)

    def _header(self) -> Path:
        line = self.line
        repeated = self.text.startswith("[[", self.at)
        self._move(2 if repeated else 1)
        names = self._dotted()
        self._move(2 if repeated else 1)
        path: Path = ()
        for place, name in enumerate(names):
            path = (*path, name)
            if repeated and place == len(names) - 1:
                self._elements[path] = self._elements.get(path, 0) + 1
            if path in self._elements:
                path = (*path, self._elements[path])
        self._note(path, line)
        return path

    def _pair(self, table: Path) -> None:
        line = self.line
        path = (*table, *self._dotted())
        self._note(path, line)
        self._move(1)  # the equals sign
        self._value(path)

    def _dotted(self) -> list[str]:
        names: list[str] = []
        while True:
            self._blank(newlines=False)
            names.append(self._name())
            self._blank(newlines=False)
            if self.text[self.at : self.at + 1] != ".":
                return names
            self._move(1)

    def _name(self) -> str:
        if self.text[self.at] in "\"'":
            return self._string()
        start = self.at
        while self.at < len(self.text) and self.text[self.at] not in " \t.=]":
            self.at += 1
        return self.text[start : self.at]

    def _value(self, path: Path) -> None:
        self._blank(newlines=False)
        sign = self.text[self.at]
        if sign in "\"'":
            self._string()
        elif sign == "[":
            self._array(path)
        elif sign == "{":
            self._inline(path)
        else:
            while self.at < len(self.text) and self.text[self.at] not in ",]}#\n":
                self.at += 1

    def _array(self, path: Path) -> None:
        self._move(1)
        number = 0
        while True:
            self._blank(newlines=True)
            if self.text[self.at] == "]":
                self._move(1)
                return
            if self.text[self.at] == ",":
                self._move(1)
                continue
            number += 1
            self._note((*path, number), self.line)
            self._value((*path, number))

    def _inline(self, path: Path) -> None:
        self._move(1)
        while True:
            self._blank(newlines=True)
            if self.text[self.at] == "}":
                self._move(1)
                return
            if self.text[self.at] == ",":
                self._move(1)
                continue
            self._pair(path)

    def _string(self) -> str:
        quote = self.text[self.at]
        if self.text.startswith(quote * 3, self.at):
            return self._long_string(quote)
        end = self.at + 1
        out: list[str] = []
        while self.text[end] != quote:
            if self.text[end] == "\\" and quote == '"':
                sign, end = self._escape(end + 1)
                out.append(sign)
            else:
                out.append(self.text[end])
                end += 1
        self.at = end + 1
        return "".join(out)

    def _escape(self, at: int) -> tuple[str, int]:
        sign = self.text[at]
        width = {"u": 4, "U": 8}.get(sign, 0)
        if width:
            return chr(int(self.text[at + 1 : at + 1 + width], 16)), at + 1 + width
        return _ESCAPES.get(sign, sign), at + 1

    def _long_string(self, quote: str) -> str:
        # Only ever a value, so its content does not matter, its end does.
        end = self.at + 3
        while not self.text.startswith(quote * 3, end):
            end += 2 if self.text[end] == "\\" and quote == '"' else 1
        while self.text.startswith(quote * 4, end):
            end += 1
        self._move(end + 3 - self.at)
        return ""
