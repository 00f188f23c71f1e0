"""The bedside computers of one run: who is missing, and whether the ladder begins with them."""

from collections.abc import Callable, Sequence

from beepwatch.page.server import PageServer


class Beside:
    """For the loop's thread. pages: the page's server, once there is one. climb: takes the ladder anew."""

    def __init__(self, pages: Sequence[PageServer], climb: Callable[[], None]) -> None:
        self._pages, self._climb = pages, climb
        self._known = False

    def missing(self) -> str | None:
        """Names of those that have fallen silent; one that was paired or shut out since changes the ladder."""
        known = any(page.beside for page in self._pages)
        if known is not self._known:
            self._known = known
            self._climb()
        names = [name for page in self._pages if (name := page.watchers.missing()) is not None]
        return ", ".join(names) or None
