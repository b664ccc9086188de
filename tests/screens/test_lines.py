"""The list stands still, draws little, and can be moved in with keys and mouse."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from rich.text import Text
from screen_helpers import picture, wait_for
from textual import events
from textual.app import App, ComposeResult
from textual.geometry import Region, Size

from netwatch.screens.lines import Lines, Row, Spot


class Bench(App[None]):
    """A list that is as high as the screen."""

    CSS = "Lines { height: 1fr; }"

    def __init__(self) -> None:
        super().__init__()
        self.chosen: list[Any] = []

    def compose(self) -> ComposeResult:
        yield Lines()

    @property
    def list(self) -> Lines:
        return self.query_one(Lines)

    def on_lines_chosen(self, event: Lines.Chosen) -> None:
        self.chosen.append(event.key)

    def at(self, y: int) -> str:
        """Line of the screen, without the scroll bar."""
        return picture(self).split("\n")[y].rstrip(" ▐")


def rows(keys: Sequence[Any], height: int = 1, chosen: bool = True) -> list[Row]:
    def row(key: Any) -> Row:
        return Row(key, lambda: [Text(f"row {key}.{part}") for part in range(height)], height, chosen)

    return [row(key) for key in keys]


def where(app: Bench) -> int:
    """Line of the screen on which the cursor is drawn."""
    return next(y for y, line in enumerate(picture(app).split("\n")) if line.startswith("> "))


async def shown(pilot: Any, app: Bench, made: list[Row]) -> None:
    app.list.show(lambda size: made)
    await pilot.pause()


async def test_a_row_put_in_above_leaves_the_cursor_where_it_was() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(30), 2))
        for _ in range(7):
            await pilot.press("down")
        before = where(app)
        await shown(pilot, app, rows([100, *range(3), 101, *range(3, 30), 102], 2))
        await wait_for(pilot, lambda: app.list.top > 0 and app.list.key == 7, "the list scrolled under the cursor")
        assert (where(app), app.at(before)) == (before, "> row 7.0")
        await pilot.press("enter")
        await wait_for(pilot, lambda: app.chosen == [7], "the row with the cursor is opened")


async def test_also_where_all_rows_have_room() -> None:
    app = Bench()
    async with app.run_test(size=(40, 12)) as pilot:
        await shown(pilot, app, rows(range(4)))
        await pilot.press("down", "down")
        before = where(app)
        await shown(pilot, app, rows([9, *range(4)]))
        await wait_for(pilot, lambda: app.at(0) == "  row 0.0", "the first row went out at the top")
        assert (where(app), app.list.key) == (before, 2)
        await pilot.press("home")
        await wait_for(pilot, lambda: app.at(0) == "> row 9.0", "Home shows the first row")


async def test_what_is_read_stays_where_the_cursor_is_out_of_sight() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(60)))
        app.list._scroll(30)
        await wait_for(pilot, lambda: app.at(0) == "  row 30.0", "scrolled away from the cursor")
        await shown(pilot, app, rows([0, 100, 101, *range(1, 60)]))
        await wait_for(pilot, lambda: app.list.top == 32, "scrolled by what came in above")
        assert app.at(0) == "  row 30.0"


async def test_the_cursor_goes_to_the_next_row_where_its_own_is_gone() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(5)))
        await pilot.press("down", "down")
        await shown(pilot, app, rows([0, 1, 3, 4]))
        assert app.list.key == 3
        await shown(pilot, app, [])
        assert app.list.key is None
        await pilot.press("enter", "down", "pagedown", "end")
        assert app.chosen == []


async def test_only_changed_lines_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    app = Bench()
    drawn: list[Region] = []
    original = Lines.refresh

    def noted(self: Lines, *regions: Region, **how: Any) -> Any:
        drawn.extend(regions)
        return original(self, *regions, **how)

    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(8)))
        await wait_for(pilot, lambda: "row 7.0" in picture(app), "all rows are drawn")
        monkeypatch.setattr(Lines, "refresh", noted)
        changed = rows(range(8))
        changed[3] = Row(3, lambda: [Text("news")])
        await shown(pilot, app, changed)
        await wait_for(pilot, lambda: app.at(3) == "  news", "the changed row is drawn")
        assert drawn == [Region(0, 3, 40, 1)]


async def test_rows_out_of_sight_are_not_made() -> None:
    app = Bench()
    made: list[int] = []

    def row(key: int) -> Row:
        def draw() -> list[Text]:
            made.append(key)
            return [Text(str(key))]

        return Row(key, draw)

    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, [row(key) for key in range(5000)])
        await wait_for(pilot, lambda: "  9" in picture(app), "the first rows are drawn")
        assert max(made) < 10


@pytest.mark.parametrize(
    ("keys", "key"),
    [
        (("down",), 1),
        (("j", "j", "k"), 1),
        (("up",), 0),
        (("end",), 49),
        (("end", "down"), 49),
        (("end", "home"), 0),
        (("pagedown",), 9),
        (("pagedown", "pagedown", "pageup"), 9),
    ],
)
async def test_moving(keys: tuple[str, ...], key: int) -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(50)))
        await pilot.press(*keys)
        await wait_for(pilot, lambda: app.list.key == key, f"the cursor is on {key}")
        await wait_for(pilot, lambda: f"> row {key}.0" in picture(app), "and it is seen")


async def test_rows_on_which_the_cursor_cannot_stand_are_passed_over() -> None:
    app = Bench()
    made = [*rows(["heading"], chosen=False), *rows([1]), *rows(["between"], chosen=False), *rows([2])]
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, made)
        assert app.list.key == 1
        await pilot.press("down")
        assert app.list.key == 2
        await pilot.press("up", "up")
        assert app.list.key == 1


async def test_a_page_without_cursor_scrolls() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(50), chosen=False))
        await pilot.press("down", "down", "up")
        await wait_for(pilot, lambda: app.at(0) == "  row 1.0", "one line down")
        await pilot.press("pagedown")
        await wait_for(pilot, lambda: app.at(0) == "  row 10.0", "a page down")
        await pilot.press("end")
        await wait_for(pilot, lambda: app.at(9) == "  row 49.0", "the end")
        await pilot.press("home")
        await wait_for(pilot, lambda: app.at(0) == "  row 0.0", "the top")


async def test_the_mouse_stands_on_a_row_then_opens_it() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(20), 2))
        await pilot.click(Lines, offset=(5, 5))
        await wait_for(pilot, lambda: app.list.key == 2, "the cursor is where it was clicked")
        assert app.chosen == []
        await pilot.click(Lines, offset=(5, 4))
        await wait_for(pilot, lambda: app.chosen == [2], "the second click opens it")


async def test_rows_are_made_anew_for_another_size() -> None:
    app = Bench()
    sizes: list[Size] = []

    def build(size: Size) -> list[Row]:
        sizes.append(size)
        return rows(range(20))

    async with app.run_test(size=(40, 10)) as pilot:
        app.list.show(build)
        await pilot.press("end")
        await pilot.resize_terminal(60, 6)
        await wait_for(pilot, lambda: sizes[-1] == Size(57, 6), "built for the new size, without pointer and scroll bar")
        await wait_for(pilot, lambda: "> row 19.0" in picture(app), "the cursor is still seen")


async def test_what_stays_on_top_does_not_scroll_and_takes_no_click() -> None:
    app = Bench()
    head = Row("head", lambda: [Text("heading")], chosen=False, stays=True)
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, [head, *rows(range(50))])
        await pilot.press("end")
        await wait_for(pilot, lambda: app.at(9) == "> row 49.0", "the end is seen")
        assert app.at(0) == "  heading"
        await pilot.click(Lines, offset=(5, 0))
        await pilot.click(Lines, offset=(5, 5))
        await wait_for(pilot, lambda: app.list.key == 45, "the row that was clicked")


async def test_another_list_begins_where_one_was_in_it() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(50)))
        await pilot.press("pagedown", "pagedown", "up")
        await wait_for(pilot, lambda: app.list.key == 17, "the cursor is on row 17")
        before, at = app.list.spot, where(app)
        app.list.show(lambda size: rows(range(100, 105)), Spot())
        assert (app.list.key, app.list.top) == (100, 0)
        app.list.show(lambda size: rows(range(50)), before)
        await wait_for(pilot, lambda: where(app) == at and app.at(at) == "> row 17.0", "the cursor stands on the same line")


async def test_the_wheel_and_the_bar_scroll() -> None:
    app = Bench()
    async with app.run_test(size=(40, 10)) as pilot:
        await shown(pilot, app, rows(range(100)))
        await pilot._post_mouse_events([events.MouseScrollDown], Lines, offset=(5, 5))
        await wait_for(pilot, lambda: app.at(0) == "  row 3.0", "three lines down")
        await pilot._post_mouse_events([events.MouseScrollUp], Lines, offset=(5, 5))
        await wait_for(pilot, lambda: app.at(0) == "> row 0.0", "and up")
        await pilot.click(Lines, offset=(39, 8))
        await wait_for(pilot, lambda: app.at(5) == "  row 80.0", "the place on the bar is in the middle")
