"""What sources say they send: universe discovery, page by page (E1.31-2018 8)."""

from __future__ import annotations

from dataclasses import dataclass, field

from netwatch.decode.tables import Discovery


@dataclass(slots=True)
class Listing:
    """The newest list of one source."""

    pages: dict[int, tuple[int, ...]] = field(default_factory=dict)
    last_page: int = 0
    changed: int = 0
    """ns of the newest change of what it says."""
    last: int = 0
    n: int = 0
    times: int = 0
    """Packets."""

    def hear(self, record: Discovery, time: int) -> None:
        """A page replaces the one before; pages above the newest last page are gone (8.3, 8.4)."""
        if self.pages.get(record.page) != record.universes or record.last_page != self.last_page:
            self.changed = time
        self.pages[record.page], self.last_page = record.universes, record.last_page
        for page in [page for page in self.pages if page > record.last_page]:
            del self.pages[page]
        self.last, self.n, self.times = time, record.n, self.times + 1

    @property
    def complete(self) -> bool:
        """Every page was heard."""
        return len(self.pages) == self.last_page + 1

    @property
    def universes(self) -> set[int]:
        """All that it lists."""
        return {number for page in self.pages.values() for number in page}
