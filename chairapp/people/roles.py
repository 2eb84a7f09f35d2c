"""What each role is called on a page."""

from chairapp.clinic import Role

__all__ = ["ROLE_NAMES"]

ROLE_NAMES: dict[Role, str] = {
    "clinician": "Clinician",
    "supervised": "Supervised clinician",
    "assistant": "Assistant",
    "manager": "Practice manager",
}
