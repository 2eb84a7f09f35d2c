"""An invented clinic: what a new clinic server starts with, and what the demo shows. Nobody here exists."""

from chairapp.clinic import ClinicDocument, Person

__all__ = ["DEMO_PIN", "demo_clinic"]

DEMO_PIN = "135790"
"""Of every invented person; the tablet shows it where the clinic says that all is invented."""

STAFF = (
    Person(id="clin-1", name="Dr Ada Lindqvist", role="clinician", licence="INV-10442"),
    Person(id="clin-2", name="Dr Tomas Okoro", role="clinician", licence="INV-10977"),
    Person(id="sup-1", name="Mei Castell", role="supervised"),
    Person(id="asst-1", name="Jon Abara", role="assistant"),
    Person(id="asst-2", name="Rosa Winter", role="assistant"),
    Person(id="mgr-1", name="Ines Falk", role="manager"),
)


def demo_clinic(sequence: str, label_address: str) -> ClinicDocument:
    """The invented clinic, opening visits with the sequence of this digest; labels lead to `label_address`."""
    return ClinicDocument(
        version=1,
        clinic="Blue Door Practice",
        time_zone="Europe/Lisbon",
        label_address=label_address,
        languages=["en", "es"],
        chairs=["1", "2", "Care home bag"],
        staff=list(STAFF),
        sequence=sequence,
        invented=True,
    )
