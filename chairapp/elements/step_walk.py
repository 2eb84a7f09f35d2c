"""The walk through the steps of one visit."""

from typing import Any

from chairapp.elements.offline import Offline, Page


class StepWalk(Page, component="tm_step_walk.js"):
    """The rail of the steps, the screen that is open, and the verdict between Back and Next.

    :param steps: [{"id": step, "screens": [items]}] in the order of the walk
    """


class StepScreen(Offline, component="tm_step_screen.js"):
    """One step: the way through its questions, and the one that is open. Its children carry an `item` prop.

    :param step: the step's id
    """

    def __init__(self, step: str, **props: Any) -> None:
        super().__init__(step=step, **props)


class Question(Offline, component="tm_question.js"):
    """One question a screen: heading, how to measure, words to read aloud, why it is stale; its pad is its child.

    :param item: the item's id
    """

    def __init__(self, item: str) -> None:
        super().__init__(item=item)
