"""Reads a page as a strict reader of HTML would: every element closed, and in its order."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "input", "br", "hr", "img", "link"}
"""Elements without an end (HTML Standard, 13.1.2)."""


@dataclass
class Element:
    name: str
    attributes: dict[str, str]
    parent: Element | None = None
    children: list[Element | str] = field(default_factory=list)

    def words(self) -> str:
        return " ".join(c if isinstance(c, str) else c.words() for c in self.children).strip()

    def all(self, *names: str) -> list[Element]:
        found: list[Element] = []
        for child in self.children:
            if isinstance(child, Element):
                found += [child] if child.name in names or not names else []
                found += child.all(*names)
        return found

    def first(self, name: str) -> Element:
        return self.all(name)[0]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self.here = self.root

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs), f"an attribute twice: {tag} {attrs}"
        element = Element(tag, {name: value or "" for name, value in attrs}, self.here)
        self.here.children.append(element)
        if tag not in VOID:
            self.here = element

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert any(e.name == "svg" for e in _up(self.here)), f"<{tag}/> outside of SVG"
        self.here.children.append(Element(tag, {name: value or "" for name, value in attrs}, self.here))

    def handle_endtag(self, tag: str) -> None:
        assert self.here.name == tag, f"</{tag}> closes <{self.here.name}>"
        assert self.here.parent is not None
        self.here = self.here.parent

    def handle_data(self, data: str) -> None:
        self.here.children.append(data)


def _up(element: Element | None) -> list[Element]:
    return [] if element is None else [element, *_up(element.parent)]


def read(html: str) -> Element:
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert reader.here is reader.root, f"<{reader.here.name}> is never closed"
    return reader.root
