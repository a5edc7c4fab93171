"""A page that only says something: what failed on the page of this computer, for one. It needs no history."""

from collections.abc import Sequence

from curbtick.dates import now_ms
from curbtick.report.pages.frame import Frame


def message_page(title: str, words: Sequence[str]) -> str:
    """The page. words: a paragraph each."""
    frame = Frame(now_ms(), (), {}, {}, frozenset(), is_live=True)
    return frame.render("message.html", (), title=title, words=words)
