"""What the manager's pages cannot do, each with the sentence that is shown.

AuditError
└── AskedError    a filter that says what none can say; names its field
"""

__all__ = ["AskedError", "AuditError"]


class AuditError(Exception):
    pass


class AskedError(AuditError):
    pass
