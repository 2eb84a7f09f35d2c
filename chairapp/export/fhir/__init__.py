"""Visits as FHIR R4 (4.0.1) resources: plain dicts, with only those elements that R4B has too.

What becomes what (source: HL7 FHIR R4; the choice of resources is ours):

    sequence -> Questionnaire · answers -> QuestionnaireResponse · measured or chosen -> Observation
    acceptance -> DetectedIssue.mitigation · the act -> Procedure · order to the laboratory -> DeviceRequest
    case box -> Device and Task · signature and correction -> Provenance · trail -> AuditEvent

There is no patient in our entries: `Patient` holds the visit's id and the box code, and nothing of a person.
"""

from chairapp.export.fhir.bundle import write_bundle

__all__ = ["write_bundle"]
