"""A visit written down as a file: read, turned into entries, judged.

{"case", "about", "sequence": "jaw-relation", "entries": [...]}            see entries.py
{"case", "about", "sequence", "answers": {item: value}, "adjustments": [...], "accepted": {step: reason}}
"""

from chairapp.case.entries import entries_of
from chairapp.case.judged import judge_case, judge_file
from chairapp.case.read import Case, case_of, read_case

__all__ = ["Case", "case_of", "entries_of", "judge_case", "judge_file", "read_case"]
