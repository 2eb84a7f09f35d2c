"""Threemark: the shaping of two wax rims for complete dentures, step by step, judged on the spot."""

from typing import Any

__all__ = ["judge_case"]


def judge_case(case: dict[str, Any]) -> dict[str, Any]:
    """The verdict over one visit given as a case: the same as `threemark judge` prints.

    Raises chairapp.sequence.errors.InputError, whose text is one line naming the field and what is wrong.
    """
    # Imported late: pages, commands and the judge all import this package, few of them judge a case.
    from chairapp.case import judge_case as judged

    return judged(case)
