"""What can keep a node from starting or a command from working.

NodeError
├── SettingError   a setting is nonsense; names it, says where it came from
├── FolderError    the data folder is missing, foreign, newer than the program, or damaged
├── PortTaken      somebody listens there already
└── ClinicAway     the clinic server cannot be reached, or will not have us
"""

__all__ = ["ClinicAway", "FolderError", "NodeError", "PortTaken", "SettingError"]


class NodeError(Exception):
    """`str(error)` is the one line a user sees."""


class SettingError(NodeError):
    pass


class FolderError(NodeError):
    pass


class PortTaken(NodeError):
    pass


class ClinicAway(NodeError):
    pass
