"""What a page says, read by the standard library's parser: tables by caption, links, text, and every tag."""

from html.parser import HTMLParser

VOID = ("meta", "link", "input", "br", "img", "rect", "line")


class Read(HTMLParser):
    """Tables as rows of cells, by caption."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self.links: list[tuple[str, str]] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._rows: list[list[str]] = []
        self._caption = ""
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == [], "each tag is closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Also of `<rect/>`."""
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "table":
            self._rows, self._caption = [], ""
        elif tag == "tr":
            self._rows.append([])
        elif tag in ("th", "td"):
            self._rows[-1].append("")
        elif tag == "a":
            self.links.append((dict(attrs).get("href") or "", ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Nothing is within it."""
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """The innermost open one, or it is a fault."""
        assert self._open.pop() == tag, tag
        if tag == "table":
            self.tables[self._caption] = self._rows

    def handle_data(self, data: str) -> None:
        """Of whatever is open."""
        self.text += data
        if "caption" in self._open:
            self._caption += data
        elif "th" in self._open or "td" in self._open:
            self._rows[-1][-1] += data
        if "a" in self._open:
            href, said = self.links[-1]
            self.links[-1] = (href, said + data)
