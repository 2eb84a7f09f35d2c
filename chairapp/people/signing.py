"""Which signatures a node does not take: those that somebody else's key made, and those above what the signer may."""

from chairapp.clinic import ClinicDocument
from chairapp.people.proof import Keys, proved
from sync.entry import Entry, Refusal

__all__ = ["refused_signature"]

_FALSE = Refusal(
    "value.proof",
    "the signature is not made by the key of this person on this tablet",
    "sign in on the tablet again and sign again",
)
_ALONE = ("clinician", "supervisor")


def refused_signature(entry: Entry, clinic: ClinicDocument | None, keys: Keys) -> Refusal | None:
    """Why not; None for one that is kept, be it proved or not. Somebody the clinic does not know may still come."""
    if proved(entry, keys) == "false":
        return _FALSE
    person = clinic.person(entry["author"]) if clinic else None
    if person and _role(entry) in _ALONE and person.role != "clinician":
        return Refusal("value.role", f"{person.name} does not sign as {_role(entry)} here", "let a clinician sign it")
    return None


def _role(entry: Entry) -> str:
    value = entry["value"]
    return str(value.get("role")) if isinstance(value, dict) else ""
