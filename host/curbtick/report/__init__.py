"""The report: a static site of self-contained pages, made from the history."""

from curbtick.report.pages.frame import message_page
from curbtick.report.site import Built, Site, build

__all__ = ["Built", "Site", "build", "message_page"]
