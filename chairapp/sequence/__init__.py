"""What is asked: the jaw relation sequence as data, a school's own numbers, the texts and the words made of them."""

from chairapp.sequence.load import digest, document, jaw_relation
from chairapp.sequence.override import load_override, override_of
from chairapp.sequence.say import say

__all__ = ["digest", "document", "jaw_relation", "load_override", "override_of", "say"]
