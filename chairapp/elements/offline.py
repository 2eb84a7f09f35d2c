"""What every element of the tablet page has in common."""

from typing import Any

from nicegui.element import Element


class Offline(Element):
    """An element whose behaviour is all in its .js: no listener in Python, props that name items and nothing more."""

    def __init__(self, **props: Any) -> None:
        super().__init__()
        self._props.update(props)


class Page(Offline):
    """An element of which the frame shows one at a time.

    :param page: the name the frame finds it by
    """

    def __init__(self, page: str, **props: Any) -> None:
        super().__init__(**{"data-page": page}, **props)


class Pad(Offline):
    """Takes the answer to one item.

    :param item: the item's id
    """

    def __init__(self, item: str) -> None:
        super().__init__(item=item)
