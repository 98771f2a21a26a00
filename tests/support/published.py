"""What a published page asks for: every address in its elements, attributes and styles."""

from __future__ import annotations

import re
from html.parser import HTMLParser

ADDRESSES = (
    "src",
    "href",
    "xlink:href",
    "action",
    "formaction",
    "poster",
    "data",
    "srcset",
    "background",
    "cite",
    "ping",
)
ACTIVE = {"script", "iframe", "object", "embed", "link", "base", "form", "audio", "video", "source"}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.addresses: list[str] = []
        self.active: list[str] = []
        self.text: list[str] = []
        self.policies: list[str] = []
        self._styled = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._styled = tag == "style"
        values = {name: value or "" for name, value in attrs}
        if tag in ACTIVE or any(name.startswith("on") for name in values):
            self.active.append(tag)
        if values.get("http-equiv", "").lower() == "content-security-policy":
            self.policies.append(values["content"])
        elif "http-equiv" in values:
            self.active.append(f"meta {values['http-equiv']}")
        self.addresses += [values[name] for name in ADDRESSES if name in values]
        for value in values.values():
            self.addresses += re.findall(r"url\(\s*['\"]?([^)'\"]*)", value)

    def handle_endtag(self, tag: str) -> None:
        self._styled = False

    def handle_data(self, data: str) -> None:
        if self._styled:
            self.addresses += re.findall(r"url\(\s*['\"]?([^)'\"]*)", data) + re.findall(
                r"@import\s+(\S+)", data
            )
        else:
            self.text.append(data)


def read_page(html: str) -> _Reader:
    """A page, read."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    return reader


def outside(html: str) -> list[str]:
    """Addresses that are neither in the page itself nor octets that it holds."""
    return [
        each for each in read_page(html).addresses if not re.match(r"#|data:image/(png|jpeg);base64,", each)
    ]
