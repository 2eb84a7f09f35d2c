"""The desk of a node: its boxes, as its settings want their labels and papers."""

from chairapp.box.desk import Desk
from chairapp.box.sheet import sheet_from
from chairapp.node.node import Node

__all__ = ["desk_of"]


def desk_of(node: Node) -> Desk:
    """Raises LabelError when labels of the size that is set do not fit the sheet that is set."""
    set_to = node.settings
    return Desk(
        node.register,
        node.clinic,
        node.label_address,
        set_to.label_size,
        node.write,
        sheet=sheet_from(set_to.label_sheet, set_to.label_size),
        paper=set_to.paper,
        overdue_days=set_to.overdue_days,
    )
