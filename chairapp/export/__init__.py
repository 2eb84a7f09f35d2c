"""What leaves the clinic as files: tables for a spreadsheet, FHIR R4, and the full record that a verifier checks."""
